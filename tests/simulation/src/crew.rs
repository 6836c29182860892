//! The crew: who founds it, who joins, and with which devices.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use daemon::command::{self, Command, ListChange, PersonRate};
use daemon::device::DeviceFile;
use daemon::import::FileName;
use daemon::node::Write;
use daemon::{Node, NodeError, Role};
use ledger::roster_events::DeviceAdmitted;
use ledger::{Audience, Body, DeviceSecret, Kind, Payload};
use store::{FaultyDisk, Survival};

use crate::device::Device;
use crate::dice::Dice;
use crate::model::Broken;
use crate::world::World;

/// The people who may join, with what they may do at first.
pub const PEOPLE: [(&str, Role); 4] = [
    ("Maren Oake", Role::Owner),
    ("Tobi Larch", Role::Lead),
    ("Ines Quill", Role::Hand),
    ("Sef Moor", Role::Hand),
];
/// The job that is billed by the clock.
pub const DAYWORK: &str = "MILL";
/// The job at a price.
pub const FIXED: &str = "GARAGE";
/// The stages of the job at a price.
pub const STAGES: [&str; 2] = ["stud walls", "boarding"];

/// The kinds of events of which an old program may not know one.
const KINDS_OF_LATER: [Kind; 4] = [Kind::Used, Kind::Corrected, Kind::Struck, Kind::Accepted];

/// What must work before anything can be tried.
const BEGINS: &str = "a crew can be founded";

/// A row of a list.
pub fn row(cells: &[(&str, &str)]) -> BTreeMap<String, String> {
    cells.iter().map(|(column, value)| ((*column).to_owned(), (*value).to_owned())).collect()
}

fn list(list: FileName, cells: &[(&str, &str)]) -> Command {
    Command::List { list, change: ListChange::Either, row: row(cells) }
}

/// The lists that the crew begins with.
fn lists() -> Vec<Command> {
    let firm = [
        ("name", "Maren Oake"),
        ("trading_as", "Oake Rooms"),
        ("address", "The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ"),
        ("bank_name", "Example Bank"),
        ("sort_code", "00-00-00"),
        ("account_no", "00000000"),
        ("terms_days", "14"),
        ("next_invoice_no", "41"),
    ];
    let job = |code, basis| {
        list(
            FileName::Jobs,
            &[
                ("job", code),
                ("title", "Two rooms"),
                ("customer", "J. Marrable"),
                ("customer_kind", "householder"),
                ("basis", basis),
                ("vat_rate", "20"),
                ("markup_pct", "10"),
                ("billing_address", "4 Saltmarsh Lane, Wexcombe, WX4 4ZZ"),
                ("terms_days", "14"),
            ],
        )
    };
    let plaster = [
        ("item", "finish plaster"),
        ("unit", "kg"),
        ("pack", "bag"),
        ("pack_size", "25"),
        ("pack_cost", "10.00"),
    ];
    let mut lists = vec![
        list(FileName::Firm, &firm),
        job(DAYWORK, "daywork"),
        job(FIXED, "fixed"),
        list(FileName::PriceBook, &plaster),
        list(FileName::Stages, &[("job", DAYWORK), ("stage", "patch")]),
    ];
    for stage in STAGES {
        lists.push(list(FileName::Stages, &[("job", FIXED), ("stage", stage)]));
        lists.push(list(
            FileName::Estimate,
            &[
                ("job", FIXED),
                ("stage", stage),
                ("kind", "labour"),
                ("what", "joiner"),
                ("quantity", "8"),
                ("unit", "hour"),
                ("unit_cost", "20"),
                ("unit_price", "35"),
            ],
        ));
    }
    lists
}

/// What the crew began with, as somebody lists it who has lost it: rates and prices are of the first day.
pub fn lists_of_beginning() -> Vec<Command> {
    let mut commands = lists();
    let rate = |text: &str| text.parse().ok();
    for (name, role) in PEOPLE {
        let (cost, charge) = if role == Role::Owner { ("28", "42") } else { ("20", "36") };
        let Some((cost, charge)) = rate(cost).zip(rate(charge)) else { continue };
        let rates = Some((cost, charge));
        commands.push(Command::AddPerson { name: name.to_owned(), role, rates });
        let (person, from) = (name.to_owned(), "2020-01-01".parse().ok());
        commands.push(Command::Rate(PersonRate { person, job: None, trade: None, cost, charge, from }));
    }
    commands
}

/// The laptop's disk once the crew is founded. It is the same in every seed, and takes longer than what follows.
static FOUNDED: OnceLock<FaultyDisk> = OnceLock::new();

/// Begins a world with the laptop, which stays at home, on which the crew was founded with its people and lists.
///
/// # Errors
/// What does not work.
pub fn found(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let disk = match FOUNDED.get() {
        Some(disk) => disk.clone(),
        None => {
            let disk = found_anew(&mut World::new(false))?;
            FOUNDED.get_or_init(|| disk).clone()
        }
    };
    let machine = world.machine("laptop", disk.crash(Survival::Everything), dice);
    let opened = Node::open_on(machine.clone());
    let node = opened.map_err(|error| Broken::new(BEGINS, error.to_string()))?;
    world.devices.push(Device::new("laptop", "Maren Oake", node.key(), machine).switched_on(node));
    world.look_after(0, dice)
}

fn found_anew(world: &mut World) -> Result<FaultyDisk, Broken> {
    let machine = world.machine("laptop", FaultyDisk::new(), &mut Dice::new(0));
    let founded = Node::found_on(machine.clone(), "Oake Rooms", "Maren Oake", "laptop");
    let (mut node, _) = founded.map_err(|error| Broken::new(BEGINS, error.to_string()))?;
    let rate = |text: &str| text.parse().ok();
    for (name, role) in PEOPLE.into_iter().skip(1) {
        let rates = rate("20").zip(rate("36"));
        let command = Command::AddPerson { name: name.to_owned(), role, rates };
        command::run(&mut node, command).map_err(|error| Broken::new(BEGINS, error.to_string()))?;
    }
    let own = [("person", "Maren Oake"), ("role", "owner"), ("cost_rate", "28"), ("charge_rate", "42")];
    for command in std::iter::once(list(FileName::Crew, &own)).chain(lists()) {
        command::run(&mut node, command).map_err(|error| Broken::new(BEGINS, error.to_string()))?;
    }
    drop(node);
    Ok(machine.disk().clone())
}

/// Lets a new device in by a device of the boss, and connects the two. Gives nothing where that device is not the
/// boss's any more.
///
/// # Errors
/// A rule that is broken.
pub fn admit(
    world: &mut World,
    by: usize,
    person: &'static str,
    office: bool,
    dice: &mut Dice,
) -> Result<(), Broken> {
    let mut seed = [0; 32];
    dice.fill(&mut seed);
    let secret = DeviceSecret::from_seed(&seed);
    let name = format!("{}-{}", first_name(person), world.devices.len());
    let told = format!("lets {name} in{}", if office { " for the office" } else { "" });
    let admitted = world.use_node(by, &told, dice, |node| {
        let roster = node.ledger().roster();
        let whose = roster.people().find(|known| known.name == person).map(|known| known.person);
        let whose = whose.ok_or_else(|| NodeError::Network("not listed here".to_owned()))?;
        let device = DeviceAdmitted {
            device: secret.public(),
            name: name.clone(),
            person: whose,
            shared: false,
            office,
        };
        let act = node.act(node.device().person)?;
        let payload = Payload { act, body: Body::DeviceAdmitted(device) };
        node.append(&[Write { audience: Audience::Crew, payload }])?;
        Ok((node.crew(), whose, node.key()))
    })?;
    let Some((crew, whose, inviter)) = admitted else { return Ok(()) };
    let mut file = DeviceFile::new(&secret, crew, name.clone(), whose);
    file.inviter = Some(inviter);
    let machine = world.machine(&name, FaultyDisk::new(), dice);
    let node = Node::join_on(machine.clone(), file)
        .map_err(|error| Broken::new("a device that was let in can join", format!("{name}: {error}")))?;
    let mut device = Device::new(&name, person, node.key(), machine).switched_on(node);
    if dice.one_in(8) {
        device.lacks = dice.pick(&KINDS_OF_LATER).copied();
        world.tell(|| format!("{name} has an old program, without {:?}", device.lacks));
    }
    world.devices.push(device);
    let place = world.devices.len() - 1;
    world.connect(by, place);
    Ok(())
}

fn first_name(person: &str) -> String {
    person.split(' ').next().unwrap_or_default().to_lowercase()
}
