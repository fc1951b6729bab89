//! Beside whatever steers the house today, to see what the service would do.

use super::Setup;

/// Added to the name at the broker, which has at most 64 characters.
const ENDING: &str = "-shadow";

impl Setup {
    /// The same service as one that publishes its schedule and state below `shadow/`,
    /// has its own memory and its own name at the broker, commands nothing, takes no
    /// commands, and shows neither a Homie tree nor a page for monitoring, both of
    /// which belong to the real one.
    #[must_use]
    pub fn in_shadow(mut self) -> Self {
        let broker = &mut self.settings.broker;
        broker.prefix = format!("shadow/{}", broker.prefix);
        broker.client_id.truncate(64 - ENDING.len());
        broker.client_id.push_str(ENDING);
        self.settings.homie.on = false;
        self.settings.homie.mirror = false;
        self.settings.http = None;
        self.folder.push("shadow");
        self.shadow = true;
        self
    }
}
