//! What was just switched stays as it is for a while: contacts and compressors wear by
//! switching. Limits, guards and hands do not wait for that.

use std::collections::BTreeMap;

use optimiser::time::Instant;

/// Shortest times that a device stays on and off [s].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shortest {
    /// On.
    pub on_s: i64,
    /// Off.
    pub off_s: i64,
}

/// Since when devices are on or off.
#[derive(Debug)]
pub(super) struct Spells<Device>(BTreeMap<Device, Spell>);

#[derive(Debug)]
struct Spell {
    is_on: bool,
    /// Not known before the first change.
    since: Option<Instant>,
    /// The device was wanted on until then.
    wanted_until: Instant,
}

impl<Device> Default for Spells<Device> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<Device: Ord> Spells<Device> {
    /// When the present spell of a device may end, if that is still to come.
    pub(super) fn bound(
        &self,
        now: Instant,
        device: &Device,
        shortest: Shortest,
    ) -> Option<Instant> {
        let spell = self.0.get(device)?;
        let least = if spell.is_on { shortest.on_s } else { shortest.off_s };
        let since = spell.since.filter(|since| *since <= now)?;
        Some(since + least).filter(|end| *end > now)
    }

    /// Until when a device was wanted on before.
    pub(super) fn wanted_until(&self, device: &Device) -> Option<Instant> {
        self.0.get(device).map(|spell| spell.wanted_until)
    }

    /// Something else than a schedule decides for a device.
    pub(super) fn forget(&mut self, device: &Device) {
        self.0.remove(device);
    }

    /// What a device was told now.
    pub(super) fn note(&mut self, now: Instant, device: Device, is_on: bool, until: Instant) {
        let since = match self.0.get(&device) {
            Some(spell) if spell.is_on == is_on => spell.since,
            Some(_) => Some(now),
            None => is_on.then_some(now),
        };
        self.0.insert(device, Spell { is_on, since, wanted_until: until });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Instant {
        Instant::from_unix(1_750_000_000 + seconds)
    }

    #[test]
    fn a_spell_is_bound_from_its_change_on() {
        let shortest = Shortest { on_s: 900, off_s: 600 };
        let mut spells = Spells::default();
        assert_eq!(spells.bound(at(0), &"pump", shortest), None);
        spells.note(at(0), "pump", false, at(0));
        assert_eq!(spells.bound(at(1), &"pump", shortest), None, "it may have rested for long");
        spells.note(at(10), "pump", true, at(1_800));
        spells.note(at(100), "pump", true, at(1_700));
        assert_eq!(spells.bound(at(100), &"pump", shortest), Some(at(910)));
        assert_eq!(spells.wanted_until(&"pump"), Some(at(1_700)));
        assert_eq!(spells.bound(at(910), &"pump", shortest), None);
        spells.note(at(950), "pump", false, at(950));
        assert_eq!(spells.bound(at(960), &"pump", shortest), Some(at(1_550)));
        assert_eq!(spells.bound(at(-86_400), &"pump", shortest), None, "a clock that stepped");
    }
}
