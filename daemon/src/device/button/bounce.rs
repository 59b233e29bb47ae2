//! A contact that bounces: what counts is what it stays at.

use gunwale_protocol::time::Mono;

/// One contact.
#[derive(Debug, Clone)]
pub struct Bounce {
    /// How long it must stay, in microseconds of the run's clock.
    hold_us: i64,
    /// What it was told to be; none before it has been up once.
    down: Option<bool>,
    /// Since when it has been otherwise.
    since: Option<Mono>,
}

impl Bounce {
    /// A contact of which nothing is known.
    pub fn new(hold_us: i64) -> Bounce {
        Bounce { hold_us, down: None, since: None }
    }

    /// Looks at it; says when it went down or up, once it has stayed there long enough. One that is down from the
    /// beginning must first go up, which is not told.
    pub fn look(&mut self, t: Mono, down: bool) -> Option<(Mono, bool)> {
        if self.down.unwrap_or(true) == down {
            self.since = None;
            return None;
        }
        let since = *self.since.get_or_insert(t);
        if t - since < self.hold_us {
            return None;
        }
        self.since = None;
        self.down.replace(down).map(|_| (since, down))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Looks every 10 ms at a contact given as text: `#` is down.
    fn told(contact: &str) -> Vec<(i64, bool)> {
        let mut bounce = Bounce::new(30_000);
        let looks = contact.chars().enumerate();
        looks
            .filter_map(|(n, c)| bounce.look(Mono(n as i64 * 10_000), c == '#'))
            .map(|(t, d)| (t.0 / 10_000, d))
            .collect()
    }

    #[test]
    fn only_what_stays_counts() {
        for (contact, want) in [
            ("..........", &[][..]),
            ("....######", &[(4, true)]),
            ("....######......", &[(4, true), (10, false)]),
            // Bounces at both ends.
            ("....#.#.######.#.#......", &[(8, true), (18, false)]),
            // Sparks of the engine, and a contact that fails for a moment.
            ("....#....##...###....", &[]),
            ("....######.####..####.....", &[(4, true), (21, false)]),
            // Held down at the beginning.
            ("########......#####....", &[(14, true), (19, false)]),
            ("####.###......#####", &[(14, true)]),
            ("", &[]),
        ] {
            assert_eq!(told(contact), want, "{contact}");
        }
    }
}
