//! `stowheat schema`.

use crate::present::document;
use crate::site_file;

use super::arguments::{Schema, SchemaOf};
use super::{Failure, Problem, print};

pub(super) fn run(arguments: &Schema) -> Result<(), Problem> {
    let schema = match arguments.of {
        SchemaOf::Site => site_file::schema(),
        SchemaOf::Plan => document::schema().to_value(),
        SchemaOf::Study => crate::size::study::schema().to_value(),
        SchemaOf::Replay => crate::replay::document::schema().to_value(),
    };
    let text = serde_json::to_string_pretty(&schema)
        .map_err(|error| Problem::new(Failure::Failed, error))?;
    print(&(text + "\n"));
    Ok(())
}
