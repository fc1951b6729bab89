//! What a site may describe and a command does not use.

use crate::house::House;

use super::AssembleError;

/// Refuses a house whose phases are described: plans keep no limit of each phase.
///
/// # Errors
/// If the phases are described.
pub fn refuse_phases(house: &House) -> Result<(), AssembleError> {
    match house.site.plant_room.phases {
        Some(_) => Err(AssembleError::Unused {
            by: "plans",
            devices: vec!["limits of single phases".to_owned()],
        }),
        None => Ok(()),
    }
}
