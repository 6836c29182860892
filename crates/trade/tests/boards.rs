//! Layouts of boards and studs: what must hold for every wall, checked millimetre by millimetre and against
//! a slow, separate way of counting.

mod table;

use proptest::prelude::*;
use table::rows;
use trade::takeoff::TakeoffError;
use trade::takeoff::boards::cutting::{self, Outline};
use trade::takeoff::boards::fixings::{self, ExternalCorners, ScrewCentres};
use trade::takeoff::boards::landing::{self, Remedy};
use trade::takeoff::boards::{Background, BoardRules, BoardSize, Hang, Layout, lay};
use trade::takeoff::room::{Opening, Rectangle, Surface};
use trade::takeoff::studwork::{
    End, Frame, RailRole, Studwork, UprightRole, lengths_to_buy, studs_in_straight_wall,
};

const TIMBER_MM: i64 = 38;
const EDGE_MM: i64 = 13;

fn wall(length_mm: i64, height_mm: i64) -> Surface {
    Surface::new("north", length_mm, height_mm, Vec::new()).unwrap()
}

fn opening(name: &str, left_mm: i64, bottom_mm: i64, width_mm: i64, height_mm: i64) -> Opening {
    Opening { name: name.to_owned(), clear: Rectangle { left_mm, bottom_mm, width_mm, height_mm } }
}

fn frame(centres_mm: i64, from: End) -> Frame {
    Frame { centres_mm, timber_mm: TIMBER_MM, from }
}

fn rules(hang: Hang, from: End) -> BoardRules {
    let board = BoardSize::new(2_400, 1_200).unwrap();
    BoardRules { board, hang, from, stagger_mm: 300, narrowest_mm: 100, edge_mm: EDGE_MM }
}

#[test]
fn studs_of_a_straight_wall() {
    for [length, centres, studs, source] in rows(
        "length | centres | studs | source
         4200   | 600     | 8     | computed: ceil(4200/600) + 1; binary floats give 9
         4200   | 400     | 12    | computed
         3600   | 600     | 7     | computed
         3601   | 600     | 8     | computed: one millimetre more is one stud more
         2400   | 400     | 7     | computed
         5000   | 400     | 14    | computed
         600    | 600     | 2     | computed",
    ) {
        let (length, centres) = (length.parse().unwrap(), centres.parse().unwrap());
        let counted = studs_in_straight_wall(length, centres).unwrap();
        assert_eq!(counted.to_string(), studs, "{source}");
        // A stud one millimetre from the end stud is that stud; otherwise the wall has what the rule says.
        let built = Studwork::set_out(&wall(length, 2_400), frame(centres, End::Left)).unwrap();
        let merged = i64::from(length % centres > 0 && length % centres < TIMBER_MM);
        assert_eq!(i64::try_from(built.uprights.len()).unwrap(), counted - merged, "{length} at {centres}");
    }
}

#[test]
fn bad_measurements_are_named() {
    let error = |result: Result<Surface, TakeoffError>| result.unwrap_err().to_string();
    let door = opening("door", 3_800, 0, 838, 2_032);
    assert_eq!(
        error(Surface::new("north", 4_200, 2_400, vec![door])),
        "north: the door reaches 4638 mm along, and the wall ends at 4200 mm; measure the opening or where it \
         begins again"
    );
    let tall = opening("door", 100, 0, 838, 2_500);
    assert!(error(Surface::new("north", 4_200, 2_400, vec![tall])).contains("reaches 2500 mm up"));
    let before = opening("door", -5, 0, 838, 2_000);
    assert!(error(Surface::new("north", 4_200, 2_400, vec![before])).contains("place of the door"));
    let far = opening("door", i64::MAX, i64::MAX, 838, 2_000);
    assert!(error(Surface::new("north", 4_200, 2_400, vec![far])).contains("place of the door"));
    let pair = vec![opening("door", 0, 0, 800, 2_000), opening("hatch", 700, 1_000, 500, 500)];
    assert!(error(Surface::new("north", 4_200, 2_400, pair)).contains("the door and the hatch overlap"));
    for length in [0, -1, 100_001, i64::MIN] {
        let said = error(Surface::new("north", length, 2_400, Vec::new()));
        assert_eq!(
            said,
            format!("north: length: {length} mm is no length; give whole millimetres from 1 to 100000")
        );
    }
    for centres in [0, -400, 99, 1_201, i64::MAX, i64::MIN] {
        let refused = Studwork::set_out(&wall(4_200, 2_400), frame(centres, End::Left)).unwrap_err();
        assert_eq!(
            refused.to_string(),
            format!("north: studs: {centres} mm centres can't be set out; give from 100 to 1200 mm")
        );
        assert!(studs_in_straight_wall(4_200, centres).is_err());
    }
    let tight = vec![opening("door", 50, 0, 800, 2_000)];
    let tight = Surface::new("north", 4_200, 2_400, tight).unwrap();
    let refused = Studwork::set_out(&tight, frame(600, End::Left)).unwrap_err().to_string();
    assert!(refused.contains("the studs beside the door don't fit; leave 76 mm"), "{refused}");
    let low = Studwork::set_out(&wall(4_200, 100), frame(600, End::Left)).unwrap_err().to_string();
    assert!(low.contains("height: 100 mm is too short"), "{low}");
}

#[test]
fn setting_out_from_one_end_and_boarding_from_the_other_is_seen() {
    let surface = wall(4_100, 2_400);
    let studwork = Studwork::set_out(&surface, frame(400, End::Left)).unwrap();
    let same = landing::look(&surface, &studwork, rules(Hang::Standing, End::Left));
    assert_eq!((same.landed_mm, same.missed.len(), same.remedies.len()), (vec![1_200, 2_400, 3_600], 0, 0));
    let other = landing::look(&surface, &studwork, rules(Hang::Standing, End::Right));
    let missed: Vec<_> =
        other.missed.iter().map(|miss| (miss.edge_mm, miss.nearest_mm, miss.off_mm())).collect();
    assert_eq!(missed, [(2_900, 2_800, 100), (1_700, 1_600, 100), (500, 400, 100)]);
    let said: Vec<String> = other.remedies.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "begin boarding at the left end",
            "cut the first board to 900 mm",
            "add a stud at 2900 mm, 1700 mm, 500 mm"
        ]
    );
    // Each remedy is tried: with it, nothing is missed.
    let mut with_studs = studwork.clone();
    for remedy in &other.remedies {
        if let Remedy::AddStudsAt(places) = remedy {
            places.iter().for_each(|place| with_studs.add_upright(&surface, *place));
        }
    }
    assert!(landing::look(&surface, &with_studs, rules(Hang::Standing, End::Right)).missed.is_empty());
    // The layout itself cuts boards so that they land, from either end.
    let layout = lay(&surface, Background::Uprights(&studwork), rules(Hang::Standing, End::Right)).unwrap();
    assert_eq!(layout.pieces.len(), 4);
}

#[test]
fn bays_that_come_short_are_named() {
    let surface = wall(4_100, 2_400);
    let studwork = Studwork::set_out(&surface, frame(400, End::Left)).unwrap();
    let short: Vec<_> = studwork.short_bays(&surface).iter().map(|bay| (bay.from_mm, bay.to_mm)).collect();
    assert_eq!(short, [(4_000, 4_081)]);
    let turned = Studwork::set_out(&surface, frame(400, End::Right)).unwrap();
    let short: Vec<_> = turned.short_bays(&surface).iter().map(|bay| (bay.from_mm, bay.to_mm)).collect();
    assert_eq!(short, [(19, 100)]);
    // The far bay of a wall of whole centres is half a stud narrower: the end stud stands inside.
    let whole = Studwork::set_out(&wall(3_600, 2_400), frame(600, End::Left)).unwrap();
    let far: Vec<_> = whole.short_bays(&wall(3_600, 2_400)).iter().map(|bay| bay.clear_mm).collect();
    assert_eq!(far, [543]);
}

#[test]
fn an_opening_has_double_studs_a_head_a_sill_and_short_studs() {
    let window = opening("window", 1_500, 900, 1_000, 1_000);
    let surface = Surface::new("east", 4_200, 2_400, vec![window]).unwrap();
    let mut studwork = Studwork::set_out(&surface, frame(600, End::Left)).unwrap();
    let of = |role: UprightRole| studwork.uprights.iter().filter(move |upright| upright.role == role);
    let pair: Vec<i64> =
        of(UprightRole::OpeningInner).chain(of(UprightRole::OpeningOuter)).map(|u| u.left_mm).collect();
    assert_eq!(pair, [1_462, 2_500, 1_424, 2_538]);
    let short: Vec<_> = of(UprightRole::Short).map(|u| (u.centre_mm(), u.bottom_mm, u.top_mm)).collect();
    assert_eq!(short, [(1_800, 38, 862), (1_800, 1_938, 2_362), (2_400, 38, 862), (2_400, 1_938, 2_362)]);
    studwork.add_noggins(&surface, &[1_200]);
    let level = |role: RailRole| studwork.rails.iter().filter(|rail| rail.role == role).count();
    assert_eq!((level(RailRole::Head), level(RailRole::Sill), level(RailRole::SolePlate)), (1, 1, 1));
    assert!(
        studwork
            .rails
            .iter()
            .all(|rail| rail.role != RailRole::Noggin || rail.right_mm <= 1_500 || rail.left_mm >= 2_500)
    );
    let door = Surface::new("east", 4_200, 2_400, vec![opening("door", 1_500, 0, 838, 2_032)]).unwrap();
    let with_door = Studwork::set_out(&door, frame(600, End::Left)).unwrap();
    let soles: Vec<_> = with_door.rails.iter().filter(|rail| rail.role == RailRole::SolePlate).collect();
    assert_eq!(soles.iter().map(|rail| rail.length_mm()).collect::<Vec<_>>(), [1_500, 1_862]);
}

#[test]
fn screws_by_their_centres() {
    for [along, across, uprights, centres, screws, source] in rows(
        "along | across | uprights | centres | screws | source
         2400  | 1200   | 600      | 300     | 27     | seen+comp: specification pages K10/M20: walls 300 mm
         2400  | 1200   | 400      | 300     | 36     | seen+comp: the same
         2400  | 0      | 600      | 300     | 9      | seen+comp: one stud of 2400 mm
         1800  | 900    | 450      | 300     | 21     | seen+comp: another board
         2400  | 1200   | 600      | 150     | 51     | seen+comp: nails 150 mm",
    ) {
        let [along, across, uprights, centres] =
            [along, across, uprights, centres].map(|cell| cell.parse().unwrap());
        assert_eq!(
            fixings::screws_in_board(along, across, uprights, centres).to_string(),
            screws,
            "{source}"
        );
    }
    // Three boards on a wall: the lines of each, counted where they hang.
    let centres = ScrewCentres { field_mm: 300, ends_mm: 300, corner_mm: 200 };
    for (stud_centres_mm, screws) in [(600, 81), (400, 108)] {
        let surface = wall(3_600, 2_400);
        let studwork = Studwork::set_out(&surface, frame(stud_centres_mm, End::Left)).unwrap();
        let layout =
            lay(&surface, Background::Uprights(&studwork), rules(Hang::Standing, End::Left)).unwrap();
        let counted = |corners| fixings::screws(&surface, &studwork, &layout, centres, corners);
        assert_eq!(counted(ExternalCorners::default()), screws);
        // At an external corner 200 mm: 13 screws for 9.
        assert_eq!(counted(ExternalCorners { left: true, right: false }), screws + 4);
        assert_eq!(fixings::joint_length_mm(&surface, &layout), 2 * 2_400);
    }
}

#[test]
fn timber_is_cut_from_lengths() {
    assert_eq!(lengths_to_buy("stud", &[2_324, 2_324, 1_200, 1_200, 600, 600], 2_400), Ok(5 - 1));
    let long = lengths_to_buy("stud", &[2_500], 2_400).unwrap_err().to_string();
    assert_eq!(long, "stud: a piece of 2500 x 0 mm can't be cut from a 2400 mm length");
}

#[test]
fn walls_of_whole_boards_and_a_rest() {
    for [length, height, hang, centres, boards, reused, source] in rows(
        "length | height | hang     | centres | boards | reused | source
         3600   | 2400   | standing | 600     | 3      | 0      | computed: three whole ones
         4200   | 2400   | standing | 600     | 4      | 0      | computed: 10.08 m2 / 2.88 = 3.5
         4200   | 2400   | standing | 400     | 4      | 0      | computed
         3600   | 2700   | standing | 600     | 4      | 2      | computed: three rests of 300 from one board
         4800   | 2400   | lying    | 600     | 4      | 1      | computed: two rows, one begun with a cut board
         4200   | 2400   | lying    | 600     | 4      | 0      | computed",
    ) {
        let [length, height, centres] = [length, height, centres].map(|cell| cell.parse().unwrap());
        let hang = if hang == "lying" { Hang::Lying } else { Hang::Standing };
        let surface = wall(length, height);
        let studwork = Studwork::set_out(&surface, frame(centres, End::Left)).unwrap();
        let layout = lay(&surface, Background::Uprights(&studwork), rules(hang, End::Left)).unwrap();
        let cut = cutting::plan("board", &fixings::outlines(&layout), layout.rules.board).unwrap();
        let found = (cut.count().to_string(), cut.offcuts_reused().to_string());
        assert_eq!(found, (boards.to_owned(), reused.to_owned()), "{length} x {height} {hang:?}: {source}");
        assert!(layout.staggered);
    }
}

/// Whether pieces can be cut from one board, tried in every way: each cut parts the pieces into two groups.
fn one_board_gives(pieces: &[Outline], along_mm: i64, across_mm: i64) -> bool {
    match pieces {
        [] => true,
        [piece] => piece.along_mm <= along_mm && piece.across_mm <= across_mm,
        [_, rest @ ..] => (0..1_u32 << rest.len()).any(|part| {
            if part + 1 == 1 << rest.len() {
                return false;
            }
            let mut first = vec![pieces[0]];
            let mut second = Vec::new();
            for (at, piece) in rest.iter().enumerate() {
                if part & (1 << at) == 0 { second.push(*piece) } else { first.push(*piece) }
            }
            let at = |sizes: fn(&Outline) -> i64, most: i64| {
                let mut sums = vec![0];
                for piece in pieces {
                    let longer: Vec<i64> = sums.iter().map(|sum| sum + sizes(piece)).collect();
                    sums.extend(longer);
                }
                sums.retain(|sum| (1..most).contains(sum));
                sums.sort_unstable();
                sums.dedup();
                sums
            };
            at(|piece| piece.along_mm, along_mm).into_iter().any(|cut| {
                one_board_gives(&first, cut, across_mm) && one_board_gives(&second, along_mm - cut, across_mm)
            }) || at(|piece| piece.across_mm, across_mm).into_iter().any(|cut| {
                one_board_gives(&first, along_mm, cut) && one_board_gives(&second, along_mm, across_mm - cut)
            })
        }),
    }
}

/// The fewest boards, by trying every way to share the pieces out.
fn fewest_boards(pieces: &[Outline], board: BoardSize) -> usize {
    fn share(pieces: &[Outline], boards: &mut Vec<Vec<Outline>>, board: BoardSize, best: &mut usize) {
        let Some((piece, rest)) = pieces.split_first() else {
            *best = (*best).min(boards.len());
            return;
        };
        if boards.len() >= *best {
            return;
        }
        for at in 0..=boards.len() {
            if at == boards.len() {
                boards.push(Vec::new());
            }
            boards[at].push(*piece);
            if one_board_gives(&boards[at], board.length_mm(), board.width_mm()) {
                share(rest, boards, board, best);
            }
            boards[at].pop();
            if boards[at].is_empty() {
                boards.pop();
            }
        }
    }
    let mut best = pieces.len() + 1;
    share(pieces, &mut Vec::new(), board, &mut best);
    best
}

/// A wall with up to two openings that leave room for their studs, and how it is boarded.
fn any_wall() -> impl Strategy<Value = (Surface, Frame, BoardRules)> {
    let sizes = (600_i64..7_000, 1_900_i64..3_400, 0..4_usize);
    let window = (0_i64..100, 0_i64..100, 300_i64..1_800, 300_i64..1_500);
    (sizes, window.clone(), window, prop::sample::select(vec![300_i64, 400, 450, 600]), any::<[bool; 4]>())
        .prop_map(|((length, height, openings), first, second, centres, flags)| {
            let half = length / 2;
            let place = |at: i64, (along, up, width, tall): (i64, i64, i64, i64)| {
                let width = width.min(half - 4 * TIMBER_MM - 1);
                let tall = tall.min(height - 200);
                let left = at + 2 * TIMBER_MM + (half - 4 * TIMBER_MM - width) * along / 100;
                // Some are doors.
                let bottom = if up < 30 { 0 } else { (height - tall) * up / 100 };
                (width > 100).then(|| opening("opening", left, bottom, width, tall))
            };
            let wanted = [
                (openings & 1 == 1).then(|| place(0, first)),
                (openings & 2 == 2).then(|| place(half, second)),
            ];
            let openings: Vec<Opening> = wanted.into_iter().flatten().flatten().collect();
            let surface = Surface::new("any", length, height, openings).unwrap();
            let end = |flag| if flag { End::Left } else { End::Right };
            let hang = if flags[2] { Hang::Standing } else { Hang::Lying };
            (surface, frame(centres, end(flags[0])), rules(hang, end(flags[1])))
        })
}

/// Whether some timber covers this millimetre: an upright, or plate, head, sill or noggin beside it.
fn timber_at(studwork: &Studwork, x_mm: i64, y_mm: i64) -> bool {
    studwork.uprights.iter().any(|upright| {
        (upright.left_mm..upright.right_mm()).contains(&x_mm)
            && (upright.bottom_mm..upright.top_mm).contains(&y_mm)
    }) || studwork.rails.iter().any(|rail| {
        (rail.left_mm..rail.right_mm).contains(&x_mm)
            && (rail.bottom_mm..rail.bottom_mm + TIMBER_MM).contains(&y_mm)
    })
}

fn laid(surface: &Surface, frame: Frame, rules: BoardRules) -> (Studwork, Layout) {
    let mut studwork = Studwork::set_out(surface, frame).unwrap();
    let layout = lay(surface, Background::Uprights(&studwork), rules).unwrap();
    studwork.add_noggins(surface, &layout.level_joints_mm);
    (studwork, layout)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    /// No two pieces share a place, none hangs in an opening, and together they are the wall.
    #[test]
    fn pieces_cover_the_wall_once((surface, frame, rules) in any_wall()) {
        let (_, layout) = laid(&surface, frame, rules);
        let area: i64 = layout.pieces.iter().map(trade::takeoff::boards::Piece::area_mm2).sum();
        prop_assert_eq!(area, surface.net_mm2());
        for x in (0..surface.length_mm()).step_by(37) {
            for y in (0..surface.height_mm()).step_by(41) {
                let pieces = layout.pieces.iter().filter(|piece| piece.holds(x, y)).count();
                prop_assert_eq!(pieces, usize::from(!surface.is_open(x, y)), "at {}, {}", x, y);
            }
        }
        for piece in &layout.pieces {
            let outline = &fixings::outlines(&Layout { pieces: vec![piece.clone()], ..layout.clone() })[0];
            prop_assert!(outline.along_mm <= 2_400 && outline.across_mm <= 1_200);
        }
    }

    /// Behind each plumb edge of each piece there is timber, up to a head, sill or plate.
    #[test]
    fn every_edge_is_on_timber((surface, frame, rules) in any_wall()) {
        let (studwork, layout) = laid(&surface, frame, rules);
        for piece in &layout.pieces {
            let (left, right) = (piece.outer.left_mm, piece.outer.right_mm());
            for y in (piece.outer.bottom_mm..piece.outer.top_mm()).step_by(7) {
                // Within two timbers of a plate, head, sill or noggin that one holds the edge.
                let near_rail = studwork.rails.iter().any(|rail| {
                    (y - rail.bottom_mm).abs() <= 3 * TIMBER_MM
                        && rail.left_mm - 2 * TIMBER_MM <= right && left <= rail.right_mm + 2 * TIMBER_MM
                });
                if near_rail {
                    continue;
                }
                for x in [left, left + EDGE_MM - 1] {
                    prop_assert!(!piece.holds(x, y) || timber_at(&studwork, x, y), "left edge at {}, {}", x, y);
                }
                for x in [right - 1, right - EDGE_MM] {
                    prop_assert!(!piece.holds(x, y) || timber_at(&studwork, x, y), "right edge at {}, {}", x, y);
                }
            }
        }
    }

    /// Uprights stand in nobody's place, and nowhere is the next one farther than the centres.
    #[test]
    fn uprights_stand_clear_and_near_enough((surface, frame, _) in any_wall()) {
        let studwork = Studwork::set_out(&surface, frame).unwrap();
        let area = |upright: &trade::takeoff::studwork::Upright| Rectangle {
            left_mm: upright.left_mm,
            bottom_mm: upright.bottom_mm,
            width_mm: upright.width_mm,
            height_mm: upright.length_mm(),
        };
        for (at, one) in studwork.uprights.iter().enumerate() {
            prop_assert!(one.left_mm >= 0 && one.right_mm() <= surface.length_mm() && one.length_mm() > 0);
            prop_assert!(!surface.openings().iter().any(|opening| opening.clear.overlaps(&area(one))));
            prop_assert!(!studwork.uprights.iter().skip(at + 1).any(|other| area(other).overlaps(&area(one))));
        }
        for bay in studwork.bays() {
            let middle = (bay.from_mm + bay.to_mm) / 2;
            let beside_opening = surface.openings().iter().any(|opening| {
                opening.clear.left_mm <= middle && middle <= opening.clear.right_mm()
            });
            prop_assert!(beside_opening || bay.centres_mm() <= frame.centres_mm + TIMBER_MM / 2);
        }
    }

    /// Joints of neighbouring rows keep apart wherever the layout says so.
    #[test]
    fn joints_of_rows_keep_apart((surface, frame, rules) in any_wall()) {
        let rules = BoardRules { hang: Hang::Lying, ..rules };
        let (_, layout) = laid(&surface, frame, rules);
        if layout.staggered && surface.openings().is_empty() {
            for one in &layout.pieces {
                for other in layout.pieces.iter().filter(|other| other.outer.top_mm() == one.outer.bottom_mm) {
                    let (here, there) = (one.outer.right_mm(), other.outer.right_mm());
                    let inner = here < surface.length_mm() && there < surface.length_mm();
                    prop_assert!(!inner || (here - there).abs() >= rules.stagger_mm);
                }
            }
        }
    }

    /// Each piece is cut once, no board is cut past its size, and no fewer boards are counted than proven.
    #[test]
    fn the_count_keeps_to_its_bound((surface, frame, rules) in any_wall()) {
        let (_, layout) = laid(&surface, frame, rules);
        let outlines = fixings::outlines(&layout);
        let cut = cutting::plan("board", &outlines, rules.board).unwrap();
        let mut used: Vec<usize> = cut.boards.iter().flatten().copied().collect();
        used.sort_unstable();
        prop_assert_eq!(used, (0..outlines.len()).collect::<Vec<_>>());
        prop_assert!(cut.count() >= cut.at_least);
        let area = rules.board.area_mm2();
        prop_assert!(i64::try_from(cut.count()).unwrap() >= (surface.net_mm2() + area - 1) / area);
        // Board by board, the pieces are tried in every way of cutting.
        for pieces in cut.boards.iter().filter(|pieces| pieces.len() <= 5) {
            let pieces: Vec<Outline> = pieces.iter().map(|at| outlines[*at]).collect();
            prop_assert!(one_board_gives(&pieces, rules.board.length_mm(), rules.board.width_mm()));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// For a few pieces, the count is the fewest there is.
    #[test]
    fn brute_force_agrees(sizes in prop::collection::vec((1_i64..=24, 1_i64..=12), 1..=5)) {
        let board = BoardSize::new(2_400, 1_200).unwrap();
        let pieces: Vec<Outline> = sizes.iter().map(|(along, across)| Outline { along_mm: along * 100, across_mm: across * 100 }).collect();
        let cut = cutting::plan("board", &pieces, board).unwrap();
        prop_assert_eq!(cut.count(), fewest_boards(&pieces, board), "{:?}", pieces);
        prop_assert!(cut.at_least <= cut.count());
    }
}
