//! What speaks for somebody having spoken.
//!
//! An engine's drone can pass for a voice with both networks when its firing rate is that of a voice's pitch. But it goes
//! on as loud as it was, and a voice has syllables: so the loud must stand out from the quiet too.
//!
//! The figures here and in `voice` were chosen on generated noise and voices: `tests/listen.rs` shows what they do.

/// What both networks said of one frame of 10 ms.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Heard {
    /// Speech, to the network that opens.
    pub(super) spoken: bool,
    /// The same, without doubt.
    pub(super) clear: bool,
    /// Speech, to the network that confirms.
    pub(super) sure: bool,
    /// How loud it was above 180 Hz, in half decibels.
    pub(super) level: u8,
}

/// So many frames have to be clear: 30 ms.
const CLEAR: u32 = 3;
/// So many have to be sure. It is asked every 16 ms, so that this is 0.13 s.
const SURE: u32 = 8;
/// By so many half decibels must the loudest twentieth stand out from the median: 5 dB.
const SWING: usize = 10;

/// The frames of a note, counted.
#[derive(Debug, Clone)]
pub(super) struct Evidence {
    clear: u32,
    sure: u32,
    frames: u32,
    /// Frames of each level.
    levels: [u16; 1 << u8::BITS],
}

impl Default for Evidence {
    fn default() -> Self {
        Evidence { clear: 0, sure: 0, frames: 0, levels: [0; 1 << u8::BITS] }
    }
}

impl Evidence {
    pub(super) fn add(&mut self, heard: Heard) {
        self.clear += u32::from(heard.clear);
        self.sure += u32::from(heard.sure);
        self.frames += 1;
        if let Some(count) = self.levels.get_mut(usize::from(heard.level)) {
            *count = count.saturating_add(1);
        }
    }

    /// Enough to call it a note.
    pub(super) fn suffices(&self) -> bool {
        self.clear >= CLEAR
            && self.sure >= SURE
            && self.level(self.frames * 19 / 20).saturating_sub(self.level(self.frames / 2)) >= SWING
    }

    /// The level that so many frames stay below.
    fn level(&self, below: u32) -> usize {
        let mut left = below;
        let reached = self.levels.iter().position(|&count| {
            let here = left < u32::from(count);
            left = left.saturating_sub(count.into());
            here
        });
        reached.unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_suffices() {
        // Frames with somebody in them, of which so many are clear and sure, as loud as that, among a hundred of level 80.
        let cases = [
            ("a word", 20, 3, 8, 90, true),
            ("not clear", 20, 2, 8, 90, false),
            ("not sure", 20, 3, 7, 90, false),
            ("hardly louder", 20, 3, 8, 89, false),
            ("too short to be loud", 5, 3, 8, 90, false),
            ("a drone: most of it is as loud", 101, 101, 101, 90, false),
            ("nobody", 0, 0, 0, 0, false),
        ];
        for (name, frames, clear, sure, level, wanted) in cases {
            let mut evidence = Evidence::default();
            assert!(!evidence.suffices(), "nothing heard");
            (0..100).for_each(|_| evidence.add(Heard { level: 80, ..Heard::default() }));
            for i in 0..frames {
                evidence.add(Heard { spoken: true, clear: i < clear, sure: i < sure, level });
            }
            assert_eq!(evidence.suffices(), wanted, "{name}");
        }
    }
}
