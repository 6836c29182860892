//! What may happen next: one small thing at a time, chosen by dice of its own, so that leaving a step out does not
//! change what the dice say in the others.

use crate::dice::Dice;
use crate::model::Broken;
use crate::world::World;
use crate::{images, mishaps, office, putting_right, work};

/// Something that happens in a world.
type Step = fn(&mut World, &mut Dice) -> Result<(), Broken>;

/// What may happen, each with how often it comes among all of them.
const STEPS: &[(u64, Step)] = &[
    // People at work.
    (16, work::log_hours),
    (8, work::log_material),
    (8, work::correct),
    (6, work::strike),
    (4, work::undo),
    (4, work::accept),
    (3, work::send_twice),
    (4, work::sign_off),
    (2, work::note),
    (2, putting_right::enter_again),
    // The office.
    (7, office::issue),
    (4, office::credit),
    (1, office::void),
    (2, putting_right::adopt),
    (2, office::pay),
    (2, office::set_rate),
    (1, office::set_price),
    // Who belongs to the crew.
    (3, office::let_in),
    (2, office::retire),
    (2, office::set_role),
    // Meetings.
    (14, mishaps::meet),
    (34, mishaps::talk),
    (5, mishaps::part),
    // What happens on a building site.
    (4, mishaps::lose_power),
    (4, mishaps::switch_off),
    (9, mishaps::switch_on),
    (5, mishaps::power_will_go),
    (2, mishaps::sync_will_fail),
    (2, mishaps::disk_fills_up),
    (2, mishaps::flip_a_bit),
    (2, mishaps::back_up),
    (1, mishaps::restore),
    (1, mishaps::copy_folder),
    (2, images::take),
    (3, images::set_back),
    (1, images::clone_machine),
    (2, images::bill_and_set_back),
    (1, mishaps::destroy),
    (2, mishaps::lose_key),
    (2, mishaps::turn_clock),
    (1, mishaps::months_go_by),
    (3, mishaps::write_checkpoint),
    (1, mishaps::verify),
    (1, mishaps::checkpoint_goes_wrong),
    (2, mishaps::index_goes_wrong),
    (1, mishaps::write_as_later_program),
    (1, putting_right::upgrade),
    (2, mishaps::deliver_again),
    (1, mishaps::forge),
];

/// Lets one thing happen.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn happen(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    // Between two things there are minutes; now and then hours.
    let minutes = if dice.one_in(6) { dice.below(900) } else { dice.below(20) };
    world.pass(i64::try_from(minutes).unwrap_or_default() * 60_000 + 1_000);
    let all: u64 = STEPS.iter().map(|(weight, _)| weight).sum();
    let mut thrown = dice.below(all);
    for (weight, step) in STEPS {
        if thrown < *weight {
            return step(world, dice);
        }
        thrown -= weight;
    }
    Ok(())
}
