//! Every figure of a take-off that somebody may set otherwise, with its date, source and confidence.
//!
//! Data and nothing else: [`Settings`] says which value holds on a day. A value without a source
//! says so; one from memory is to be checked before money depends on it.

use super::settings::Written;
pub use super::settings::{Confidence, Fact, Settings};

macro_rules! defaults {
    ($($name:ident: $words:literal = $value:literal $unit:literal, $least:literal to $most:literal,
        $confidence:ident, $source:literal;)*) => {
        /// A figure that the crew may set otherwise.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Setting {
            $(#[doc = concat!($words, ", in ", $unit, "; ", $source)] $name,)*
        }

        impl Setting {
            /// All of them, in the order of the data.
            pub const ALL: &[Self] = &[$(Self::$name),*];

            /// What is known of it before anybody sets it.
            #[must_use]
            pub const fn fact(self) -> Fact {
                match self {
                    $(Self::$name => const {
                        Fact {
                            words: $words,
                            value: Written::constant($value),
                            least: Written::constant($least),
                            most: Written::constant($most),
                            unit: $unit,
                            since: "2026-11",
                            confidence: Confidence::$confidence,
                            source: $source,
                        }
                    },)*
                }
            }
        }
    };
}

defaults! {
    StudCentres: "stud centres" = "600" "mm", "100" to "1200", Seen,
        "NHBC Standards 6.3.12 and 9.2.4 Table 5: 12.5 mm board at 600 or less";
    JoistCentres: "joist centres" = "400" "mm", "100" to "1200", CommonPractice,
        "no source; NHBC 9.2.4 Table 5 allows 12.5 mm board 450 without noggings, 600 with";
    TimberThickness: "timber thickness" = "38" "mm", "20" to "150", CommonPractice,
        "no source: 95 x 38 studs";
    TimberLength: "timber length" = "2400" "mm", "1000" to "6000", CommonPractice,
        "no source: the shortest length that merchants keep";
    NogginSpacing: "noggin spacing" = "1350" "mm", "300" to "3000", CommonPractice,
        "no source: one row at mid-height up to 2.7 m";
    BoardLength: "board length" = "2400" "mm", "600" to "3600", Seen,
        "2400 x 1200 x 12.5 board, maker's data sheet";
    BoardWidth: "board width" = "1200" "mm", "300" to "1500", Seen,
        "2400 x 1200 x 12.5 board, maker's data sheet";
    BoardThickness: "board thickness" = "12.5" "mm", "6" to "30", Seen,
        "2400 x 1200 x 12.5 board, maker's data sheet";
    JointStagger: "joint stagger" = "300" "mm", "0" to "1200", CommonPractice,
        "no source: joints of two rows never on one stud";
    NarrowestPiece: "narrowest piece" = "100" "mm", "20" to "600", CommonPractice,
        "no source: a narrower strip breaks at its screws";
    EdgeDistance: "edge distance" = "13" "mm", "5" to "50", Seen,
        "specification pages K10: bound edge 10 mm, cut edge 13 mm";
    WallScrewCentres: "wall screw centres" = "300" "mm", "50" to "600", Seen,
        "specification pages K10/M20: walls 300 mm";
    CornerScrewCentres: "corner screw centres" = "200" "mm", "50" to "600", Seen,
        "specification pages K10/M20: external angles 200 mm";
    CeilingScrewCentres: "ceiling screw centres" = "230" "mm", "50" to "600", Seen,
        "specification pages K10/M20: ceilings 230 mm";
    CeilingEndScrewCentres: "ceiling end screw centres" = "150" "mm", "50" to "600", Seen,
        "specification pages K10/M20: ceilings 150 mm at board ends";
    ScrewWaste: "screw waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    TapeWaste: "tape waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    BeadWaste: "bead waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    ScrewBox: "screw box" = "1000" "each", "1" to "100000", CommonPractice,
        "no source";
    TapeRoll: "tape roll" = "90" "m", "1" to "1000", CommonPractice,
        "no source";
    BeadLength: "bead length" = "2400" "mm", "500" to "6000", CommonPractice,
        "no source";
    FinishCoverage: "finish coverage" = "10" "m2 a bag", "2" to "40", SeenAndComputed,
        "maker's data sheet: about 10 m2 a 25 kg bag at 2 mm; pages give 8 to 12";
    FinishCoverageThickness: "finish coverage thickness" = "2" "mm", "1" to "10", Seen,
        "maker's data sheet: the coverage is for 2 mm";
    FinishThickness: "finish thickness" = "2" "mm", "1" to "10", Seen,
        "maker's data sheets: finish coat 2 to 3 mm";
    FinishBag: "finish bag" = "25" "kg", "1" to "50", Seen,
        "maker's data sheet";
    FinishWater: "finish water" = "11.5" "litre a bag", "1" to "30", SeenAndComputed,
        "maker's data sheet: about 11.5 litres for 25 kg";
    FinishSetting: "finish setting" = "90" "min", "10" to "600", Seen,
        "maker's data sheet: about an hour and a half";
    FinishTrowelling: "finish trowelling" = "45" "min", "0" to "600", CommonPractice,
        "no source: the end of the setting time is for the trowel";
    LayingOn: "laying on" = "10" "m2 an hour each", "1" to "60", CommonPractice,
        "no source: one person, on flat walls";
    PlasterWaste: "plaster waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    BondingCoverage: "bonding coverage" = "2.75" "m2 a bag", "0.5" to "20", Memory,
        "makers' data sheets as remembered: 25 kg at 11 mm";
    BondingCoverageThickness: "bonding coverage thickness" = "11" "mm", "2" to "50", Memory,
        "makers' data sheets as remembered";
    BondingThickness: "bonding thickness" = "8" "mm", "2" to "50", Memory,
        "makers' data sheets as remembered: 8 mm on ceilings, 11 mm on walls";
    BondingBag: "bonding bag" = "25" "kg", "1" to "50", Memory,
        "makers' data sheets as remembered";
    BondingWater: "bonding water" = "15" "litre a bag", "1" to "30", Memory,
        "makers' data sheets as remembered";
    BondingSetting: "bonding setting" = "120" "min", "10" to "600", Memory,
        "makers' data sheets as remembered: one and a half to two hours";
    PrimerCoverage: "primer coverage" = "8" "m2 a litre", "1" to "50", Memory,
        "makers' data sheets as remembered; one coat";
    PrimerTin: "primer tin" = "5" "litre", "0.5" to "25", CommonPractice,
        "no source";
    TileBreakage: "tile breakage" = "5" "per cent", "0" to "50", CommonPractice,
        "no source: on top of the counted cuts";
    DiagonalTileWaste: "diagonal tile waste" = "15" "per cent", "0" to "50", CommonPractice,
        "no source: tiles laid slantwise";
    AdhesiveSpread: "adhesive spread" = "4" "kg/m2", "1" to "12", SeenAndComputed,
        "maker's data sheet allows 2 to 5 kg/m2 for adhesive and grout; 4 in its example";
    AdhesiveBag: "adhesive bag" = "20" "kg", "1" to "50", CommonPractice,
        "no source";
    AdhesiveWaste: "adhesive waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    LoadAllowance: "load allowance" = "4" "kg/m2", "2" to "10", Seen,
        "maker's data sheet: 2 to 5 kg/m2 for adhesive and grout";
    GroutDensity: "grout density" = "1.6" "kg a litre", "1" to "3", Seen,
        "public calculators: 1.5 to 1.8";
    GroutWaste: "grout waste" = "10" "per cent", "0" to "50", CommonPractice,
        "no source";
    GroutBag: "grout bag" = "5" "kg", "0.5" to "25", CommonPractice,
        "no source";
    TankingSpread: "tanking spread" = "1.5" "kg/m2 both coats", "0.2" to "10", Memory,
        "data sheets as remembered: about 0.75 kg/m2 a coat, two coats";
    TankingTub: "tanking tub" = "10" "kg", "1" to "30", CommonPractice,
        "no source";
    TankingTapeWaste: "tanking tape waste" = "10" "per cent", "0" to "50", CommonPractice,
        "no source: laps";
    MovementJointEvery: "movement joint every" = "4500" "mm", "1000" to "10000", SeenAndComputed,
        "tiles.org.uk Tiling Guide p. 14: walls each 3 to 4.5 m";
    TrimLength: "trim length" = "2500" "mm", "500" to "6000", Memory,
        "merchants' lists as remembered";
    TrimWaste: "trim waste" = "5" "per cent", "0" to "50", CommonPractice,
        "no source";
    PipeWaste: "pipe waste" = "10" "per cent", "0" to "50", CommonPractice,
        "no source";
    PipeClipSpacing: "pipe clip spacing" = "500" "mm", "100" to "3000", Memory,
        "makers' data sheets as remembered: 15 mm plastic, level runs";
    CableWaste: "cable waste" = "10" "per cent", "0" to "50", CommonPractice,
        "no source";
    CableTail: "cable tail" = "300" "mm", "0" to "3000", CommonPractice,
        "no source: left at each end for the second fix";
    CableClipSpacing: "cable clip spacing" = "300" "mm", "50" to "2000", Memory,
        "tables as remembered: 250 mm level, 400 mm upright for small flat cables";
    SupplyVolts: "supply volts" = "230" "V", "50" to "1000", Seen,
        "voltage drop tables: limits of 6.9 V and 11.5 V at 230 V";
    LightingDrop: "lighting drop" = "3" "per cent", "0.5" to "10", Seen,
        "voltage drop tables: lighting 3 %";
    OtherDrop: "other drop" = "5" "per cent", "0.5" to "10", Seen,
        "voltage drop tables: other 5 %";
    PaintCoverage: "paint coverage" = "12" "m2 a litre", "2" to "20", SeenAndComputed,
        "coatings.org.uk: emulsion about 12 m2 a litre and coat";
    PaintCoats: "paint coats" = "2" "coats", "1" to "6", CommonPractice,
        "no source";
    PaintTin: "paint tin" = "5" "litre", "0.25" to "25", CommonPractice,
        "no source";
    PaintWaste: "paint waste" = "0" "per cent", "0" to "50", CommonPractice,
        "no source: what stays in the roller is within the coverage";
    MistPaint: "mist paint" = "70" "per cent paint", "50" to "80", Seen,
        "decorators' pages: the first coat on new plaster is 50 to 80 % paint";
    StudMinutes: "stud minutes" = "25" "min/m2", "1" to "600", CommonPractice,
        "no source: one person, walls framed and fixed";
    BoardMinutes: "board minutes" = "18" "min/m2", "1" to "600", CommonPractice,
        "no source: one person, each face";
    SkimMinutes: "skim minutes" = "17" "min/m2", "1" to "600", CommonPractice,
        "no source: one person, joints taped";
    BondingMinutes: "bonding minutes" = "12" "min/m2", "1" to "600", CommonPractice,
        "no source: one person";
    BoxingMinutes: "boxing minutes" = "60" "min/m", "1" to "600", CommonPractice,
        "no source: one person, battens and boards";
    TilingMinutes: "tiling minutes" = "75" "min/m2", "1" to "600", CommonPractice,
        "no source: one person, fixed and grouted";
    TankingMinutes: "tanking minutes" = "20" "min/m2", "1" to "600", CommonPractice,
        "no source: one person, both coats";
    PaintMinutes: "paint minutes" = "6" "min/m2 a coat", "1" to "600", CommonPractice,
        "no source: one person";
    PipeMinutes: "pipe minutes" = "10" "min/m", "1" to "600", CommonPractice,
        "no source: one person, clipped";
    PipeFittingMinutes: "pipe fitting minutes" = "6" "min each", "1" to "600", CommonPractice,
        "no source: one person";
    CableMinutes: "cable minutes" = "5" "min/m", "1" to "600", CommonPractice,
        "no source: one person, drilled and clipped";
    Contingency: "contingency" = "5" "per cent", "0" to "50", CommonPractice,
        "no source: on the hours, for what is found when a wall is opened";
    Sundries: "sundries" = "3" "per cent", "0" to "50", CommonPractice,
        "no source: on materials, for blades, sealant and sheets";
}
