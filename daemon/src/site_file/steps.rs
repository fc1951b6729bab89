//! Values by local time of day, from each step to the next.

use chrono::NaiveTime;

use super::fault::Faults;
use super::tree::Node;

/// The steps of a key: at least one, the first at 00:00, each after the one
/// before it. `what` and `sample` are for messages.
pub(super) fn steps<T>(
    node: &Node,
    key: &str,
    (what, sample): (&str, &str),
    faults: &mut Faults,
    mut value: impl FnMut(&Node, &mut Faults) -> T,
) -> Vec<(NaiveTime, T)> {
    let mut steps: Vec<(NaiveTime, T)> = Vec::new();
    for step in node.tables(key) {
        let Some(from) = step.time("from") else { continue };
        let problem = match steps.last() {
            None if from != NaiveTime::MIN => {
                Some(format!("the first step begins at {}, not at 00:00", from.format("%H:%M")))
            }
            Some((before, _)) if *before >= from => Some(format!(
                "the step at {} does not come after the one at {}",
                from.format("%H:%M"),
                before.format("%H:%M")
            )),
            _ => None,
        };
        if let Some(message) = problem {
            faults.error(
                step.span_of("from"),
                &step.path_of("from"),
                message,
                Some("steps begin at 00:00 and rise through the day".to_owned()),
            );
        }
        let value = value(step, faults);
        steps.push((from, value));
    }
    if node.tables(key).is_empty() && !node.blamed(key) {
        faults.error(
            node.span_of(key),
            &node.path_of(key),
            format!("{what} has no step"),
            Some(format!("write at least `{sample}`")),
        );
    }
    steps
}
