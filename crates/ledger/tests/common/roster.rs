//! Samples of the kinds that say who belongs to the crew.

use ledger::roster_events::{
    CrewFounded, DeviceAdmitted, DeviceRetired, GivenKey, OfficeKeysGiven, PersonListed, Position, Recovered,
    Role, RoleChanged, SessionClosed, SessionOpened,
};
use ledger::{Body, OfficeKeyId, SessionId};

use super::{chain_id, event, person, secret};

fn position(byte: u8, seq: u64) -> Position {
    Position { chain: chain_id(byte), seq, hash: event(byte) }
}

fn lost_phone() -> DeviceRetired {
    DeviceRetired {
        device: secret(2).public(),
        cuts: vec![position(3, 41), position(4, 0)],
        reason: "lost at the Mühlweg".to_owned(),
    }
}

pub(super) fn bodies() -> Vec<Body> {
    let (maren, tobi, ines) = (person("Maren Oake"), person("Tobi Larch"), person("Ines Quill"));
    let listed =
        |person, name: &str, role| Body::PersonListed(PersonListed { person, name: name.to_owned(), role });
    vec![
        Body::CrewFounded(CrewFounded {
            crew: "Oake Rooms".to_owned(),
            founder: "Maren Oake".to_owned(),
            device: "maren-laptop".to_owned(),
            seed: std::array::from_fn(|at| u8::try_from(at).unwrap()),
            recovery_key: secret(0x77).public(),
        }),
        listed(maren, "Maren Oake", Role::Owner),
        listed(tobi, "Tobi Larch", Role::Hand),
        listed(ines, "Inés Quill", Role::Lead),
        Body::RoleChanged(RoleChanged {
            person: ines,
            role: Role::Lead,
            positions: vec![position(1, 0), position(2, u64::from(u32::MAX) + 1)],
        }),
        Body::RoleChanged(RoleChanged { person: tobi, role: Role::Hand, positions: Vec::new() }),
        Body::DeviceAdmitted(DeviceAdmitted {
            device: secret(2).public(),
            name: "tobi-phone".to_owned(),
            person: tobi,
            shared: false,
            office: false,
        }),
        Body::DeviceAdmitted(DeviceAdmitted {
            device: secret(3).public(),
            name: "van tablet".to_owned(),
            person: maren,
            shared: true,
            office: true,
        }),
        Body::DeviceRetired(lost_phone()),
        Body::DeviceRetired(DeviceRetired { cuts: Vec::new(), reason: String::new(), ..lost_phone() }),
        Body::SessionOpened(SessionOpened {
            session: SessionId([0x5e; 16]),
            person: ines,
            name: "Inés' phone".to_owned(),
        }),
        Body::SessionClosed(SessionClosed { session: SessionId([0x5e; 16]) }),
        Body::Recovered(Recovered {
            device: secret(9).public(),
            name: "maren-new-laptop".to_owned(),
            person: maren,
            retires: vec![lost_phone()],
            signature: [[0xaa; 32], [0xbb; 32]],
        }),
        Body::OfficeKeysGiven(OfficeKeysGiven {
            keys: vec![GivenKey {
                key: OfficeKeyId([0x0f; 16]),
                to: secret(2).public(),
                once: secret(8).public(),
                sealed: [0xcc; 32],
                tag: [0xdd; 16],
            }],
        }),
    ]
}
