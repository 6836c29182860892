//! What pieces are cut from: whole boards and what is left of them, and a count that no cutting can beat.
//!
//! A piece keeps its direction, because bound edges run along the board. Cuts go right through what is
//! cut (score and snap), so a board is divided like a pane of glass: each cut makes two rectangles.

use super::super::TakeoffError;
use super::BoardSize;

/// The outline of a piece to cut: along the board and across it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Outline {
    /// Along the bound edges.
    pub along_mm: i64,
    /// Across.
    pub across_mm: i64,
}

impl Outline {
    const fn area_mm2(self) -> i64 {
        self.along_mm * self.across_mm
    }

    const fn fits_in(self, other: Self) -> bool {
        self.along_mm <= other.along_mm && self.across_mm <= other.across_mm
    }
}

/// What pieces are cut from what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cutting {
    /// For each board that is bought, the places in the list of pieces, in the order of cutting.
    pub boards: Vec<Vec<usize>>,
    /// No cutting, however clever, needs fewer boards.
    pub at_least: usize,
}

impl Cutting {
    /// Boards to buy.
    #[must_use]
    pub fn count(&self) -> usize {
        self.boards.len()
    }

    /// Pieces that come out of what was left of a board, so that no new one is cut into for them.
    #[must_use]
    pub fn offcuts_reused(&self) -> usize {
        self.boards.iter().map(|pieces| pieces.len().saturating_sub(1)).sum()
    }
}

/// What pieces are sorted by, the largest first.
type SortKey = fn(&Outline) -> (i64, i64);

/// In which orders pieces are taken.
const ORDERS: [SortKey; 4] = [
    |piece| (piece.area_mm2(), piece.along_mm),
    |piece| (piece.along_mm, piece.across_mm),
    |piece| (piece.across_mm, piece.along_mm),
    |piece| (piece.along_mm + piece.across_mm, piece.along_mm),
];

/// Which way what is left beside a piece is cut first.
#[derive(Clone, Copy)]
enum FirstCut {
    Along,
    Across,
    LargerRest,
}

/// How many ways of cutting the exact search may try. It decides for some hundred pieces of a few sizes in
/// well under a second, and is the same on every device.
const MOST_TRIES: usize = 40_000;

/// Pieces beyond which the exact search is not tried.
const MOST_PIECES_EXACT: usize = 9;

/// Plans the cutting of pieces out of boards.
///
/// # Errors
/// [`TakeoffError::LargerThanStock`] for a piece larger than a board.
pub fn plan(what: &str, pieces: &[Outline], board: BoardSize) -> Result<Cutting, TakeoffError> {
    let whole = Outline { along_mm: board.length_mm(), across_mm: board.width_mm() };
    if let Some(piece) = pieces.iter().find(|piece| !piece.fits_in(whole)) {
        return Err(TakeoffError::LargerThanStock {
            what: what.to_owned(),
            along_mm: piece.along_mm,
            across_mm: piece.across_mm,
            stock: format!("a board of {} x {} mm", board.length_mm(), board.width_mm()),
        });
    }
    let at_least = at_least(pieces, whole);
    let mut best: Option<Vec<Vec<usize>>> = None;
    for order in ORDERS {
        let mut sorted: Vec<usize> = (0..pieces.len()).collect();
        // Larger first; equal ones in the order in which they hang.
        sorted.sort_by_key(|at| std::cmp::Reverse(pieces.get(*at).map(order)));
        for first_cut in [FirstCut::Along, FirstCut::Across, FirstCut::LargerRest] {
            let boards = first_fit(pieces, &sorted, whole, first_cut);
            if best.as_ref().is_none_or(|best| boards.len() < best.len()) {
                best = Some(boards);
            }
        }
    }
    let mut boards = best.unwrap_or_default();
    if boards.len() > at_least {
        let (full, cut): (Vec<usize>, Vec<usize>) =
            (0..pieces.len()).partition(|at| pieces.get(*at) == Some(&whole));
        if cut.len() <= MOST_PIECES_EXACT {
            let fewest = boards.len() - full.len();
            let mut search = Search { pieces, whole, fewest, tries: 0, found: None };
            search.go_on(&[], &[], &cut);
            if let Some(found) = search.found {
                boards = full.iter().map(|at| vec![*at]).chain(found).collect();
            }
        }
    }
    Ok(Cutting { boards, at_least })
}

/// Boards that any cutting needs at least: by area; since two pieces wider than half a board can't lie
/// beside each other, by the lengths of those; the same for longer than half; and one for each piece that
/// is more than half both ways.
#[must_use]
pub fn at_least(pieces: &[Outline], whole: Outline) -> usize {
    let up = |sum: i64, of: i64| usize::try_from((sum + of - 1) / of.max(1)).unwrap_or(0);
    let wide = |piece: &&Outline| piece.across_mm * 2 > whole.across_mm;
    let long = |piece: &&Outline| piece.along_mm * 2 > whole.along_mm;
    let area: i64 = pieces.iter().map(|piece| piece.area_mm2()).sum();
    let end_to_end: i64 = pieces.iter().filter(wide).map(|piece| piece.along_mm).sum();
    let side_by_side: i64 = pieces.iter().filter(long).map(|piece| piece.across_mm).sum();
    let large = pieces.iter().filter(wide).filter(long).count();
    up(area, whole.area_mm2())
        .max(up(end_to_end, whole.along_mm))
        .max(up(side_by_side, whole.across_mm))
        .max(large)
}

/// What is left when a piece is cut out of the corner of `rest`, in the two ways there are.
fn rests(rest: Outline, piece: Outline, first_cut: FirstCut) -> [Outline; 2] {
    let (beside_mm, beyond_mm) = (rest.across_mm - piece.across_mm, rest.along_mm - piece.along_mm);
    let along = [
        Outline { along_mm: rest.along_mm, across_mm: beside_mm },
        Outline { along_mm: beyond_mm, across_mm: piece.across_mm },
    ];
    let across = [
        Outline { along_mm: piece.along_mm, across_mm: beside_mm },
        Outline { along_mm: beyond_mm, across_mm: rest.across_mm },
    ];
    let largest = |rests: [Outline; 2]| rests.iter().map(|rest| rest.area_mm2()).max();
    match first_cut {
        FirstCut::Along => along,
        FirstCut::Across => across,
        FirstCut::LargerRest if largest(along) > largest(across) => along,
        FirstCut::LargerRest => across,
    }
}

/// Takes each piece from the smallest offcut that gives it, or else from a new board.
fn first_fit(pieces: &[Outline], order: &[usize], whole: Outline, first_cut: FirstCut) -> Vec<Vec<usize>> {
    let mut boards: Vec<Vec<usize>> = Vec::new();
    let mut offcuts: Vec<(Outline, usize)> = Vec::new();
    for at in order {
        let Some(piece) = pieces.get(*at).copied() else { continue };
        let fitting = offcuts.iter().enumerate().filter(|(_, (rest, _))| piece.fits_in(*rest));
        let smallest =
            fitting.min_by_key(|(place, (rest, _))| (rest.area_mm2(), *place)).map(|(place, _)| place);
        let (rest, board) = match smallest {
            Some(place) => offcuts.swap_remove(place),
            None => {
                boards.push(Vec::new());
                (whole, boards.len() - 1)
            }
        };
        if let Some(board) = boards.get_mut(board) {
            board.push(*at);
        }
        let rests = rests(rest, piece, first_cut).into_iter().filter(|rest| rest.area_mm2() > 0);
        offcuts.extend(rests.map(|rest| (rest, board)));
    }
    boards
}

/// A search through all orders, places and first cuts, for a few pieces.
struct Search<'a> {
    pieces: &'a [Outline],
    whole: Outline,
    /// Only fewer boards than this are of interest.
    fewest: usize,
    tries: usize,
    found: Option<Vec<Vec<usize>>>,
}

impl Search<'_> {
    fn go_on(&mut self, boards: &[Vec<usize>], offcuts: &[(Outline, usize)], left: &[usize]) {
        self.tries += 1;
        if self.tries > MOST_TRIES || boards.len() >= self.fewest {
            return;
        }
        if left.is_empty() {
            self.fewest = boards.len();
            self.found = Some(boards.to_vec());
            return;
        }
        let mut tried: Vec<Outline> = Vec::new();
        for (position, at) in left.iter().enumerate() {
            let Some(piece) = self.pieces.get(*at).copied() else { continue };
            if tried.contains(&piece) {
                continue;
            }
            tried.push(piece);
            let mut rest_of_them = left.to_vec();
            rest_of_them.remove(position);
            self.place(boards, offcuts, (*at, piece), &rest_of_them);
        }
    }

    fn place(
        &mut self,
        boards: &[Vec<usize>],
        offcuts: &[(Outline, usize)],
        (at, piece): (usize, Outline),
        left: &[usize],
    ) {
        let mut places: Vec<(Option<usize>, Outline, usize)> = offcuts
            .iter()
            .enumerate()
            .filter(|(_, (rest, _))| piece.fits_in(*rest))
            .map(|(place, (rest, board))| (Some(place), *rest, *board))
            .collect();
        places.push((None, self.whole, boards.len()));
        for (place, rest, board) in places {
            let cuts: &[FirstCut] = if piece.along_mm == rest.along_mm || piece.across_mm == rest.across_mm {
                &[FirstCut::LargerRest]
            } else {
                &[FirstCut::Along, FirstCut::Across]
            };
            for first_cut in cuts {
                let mut offcuts = offcuts.to_vec();
                let mut boards = boards.to_vec();
                match place {
                    Some(place) => {
                        offcuts.swap_remove(place);
                    }
                    None => boards.push(Vec::new()),
                }
                if let Some(board) = boards.get_mut(board) {
                    board.push(at);
                }
                let rests = rests(rest, piece, *first_cut).into_iter().filter(|rest| rest.area_mm2() > 0);
                offcuts.extend(rests.map(|rest| (rest, board)));
                self.go_on(&boards, &offcuts, left);
            }
        }
    }
}
