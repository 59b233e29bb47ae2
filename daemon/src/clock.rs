//! The one clock of a run: stamps, timers and the simulated boat all take their time from here.
//!
//! Live it is the boot clock, which counts while the machine sleeps and never steps. In the demo it is the same
//! clock made faster, so that a whole day at ten times the speed takes the very path a day at sea does.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use gunwale_protocol::time::{Mono, SECOND, Utc};
use rustix::time::{ClockId, clock_gettime};

/// A clock that stamps, and that says how long to wait.
pub trait Clock: Send + Sync {
    /// Now, on this clock. Never goes back.
    fn now(&self) -> Mono;

    /// What the wall clock says, right or wrong: for the run line, and for dating when no GPS gives a date.
    fn system(&self) -> Utc;

    /// How long a span of this clock's time, in microseconds, lasts in real time; nothing for a negative span.
    fn real(&self, microseconds: i64) -> Duration;

    /// Waits for a span of this clock's time, in microseconds.
    fn sleep(&self, microseconds: i64) {
        std::thread::sleep(self.real(microseconds));
    }
}

/// The machine's boot clock (`CLOCK_BOOTTIME`): zero at switch-on.
#[derive(Debug, Clone, Copy, Default)]
pub struct BootClock;

impl Clock for BootClock {
    fn now(&self) -> Mono {
        let t = clock_gettime(ClockId::Boottime);
        Mono(t.tv_sec.saturating_mul(SECOND).saturating_add(t.tv_nsec / 1_000))
    }

    fn system(&self) -> Utc {
        let now = SystemTime::now();
        let microseconds = |span: Duration| i64::try_from(span.as_micros()).unwrap_or(i64::MAX);
        match now.duration_since(UNIX_EPOCH) {
            Ok(after) => Utc(microseconds(after)),
            Err(before) => Utc(-microseconds(before.duration())),
        }
    }

    fn real(&self, microseconds: i64) -> Duration {
        Duration::from_micros(u64::try_from(microseconds).unwrap_or(0))
    }
}

/// A clock that runs `speed` times as fast as the boot clock, from zero, with a wall clock of its own.
#[derive(Debug, Clone, Copy)]
pub struct ScaledClock {
    speed: f64,
    zero: Mono,
    start: Utc,
}

impl ScaledClock {
    /// The speeds a clock may have: below, nothing would seem to happen; above, threads cannot keep up.
    pub const SPEEDS: std::ops::RangeInclusive<f64> = 0.01..=1_000.0;

    /// Starts a clock at zero now; its wall clock starts at `start`. A speed outside [`ScaledClock::SPEEDS`] is
    /// brought to the nearer end, one that is no number counts as 1.
    pub fn new(speed: f64, start: Utc) -> ScaledClock {
        let speed =
            if speed.is_nan() { 1.0 } else { speed.clamp(*Self::SPEEDS.start(), *Self::SPEEDS.end()) };
        ScaledClock { speed, zero: BootClock.now(), start }
    }
}

impl Clock for ScaledClock {
    fn now(&self) -> Mono {
        Mono(((BootClock.now() - self.zero) as f64 * self.speed).round() as i64)
    }

    fn system(&self) -> Utc {
        self.start + self.now().0
    }

    fn real(&self, microseconds: i64) -> Duration {
        Duration::from_secs_f64(microseconds.max(0) as f64 / SECOND as f64 / self.speed)
    }
}

/// Tells threads to end, and wakes those that wait. Clones share one signal.
#[derive(Debug, Clone, Default)]
pub struct Stop(Arc<(Mutex<bool>, Condvar)>);

impl Stop {
    /// A signal not yet given.
    pub fn new() -> Stop {
        Stop::default()
    }

    /// Gives the signal, for good.
    pub fn set(&self) {
        let (told, bell) = &*self.0;
        *told.lock().unwrap_or_else(PoisonError::into_inner) = true;
        bell.notify_all();
    }

    /// Whether it has been given.
    pub fn is_set(&self) -> bool {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for a real span, less if the signal comes; says whether it has come.
    pub fn wait(&self, span: Duration) -> bool {
        let (told, bell) = &*self.0;
        let end = Instant::now().checked_add(span);
        let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
        while !*told {
            let left = match end {
                Some(end) => end.saturating_duration_since(Instant::now()),
                None => Duration::from_secs(3_600),
            };
            if left.is_zero() {
                break;
            }
            told = bell.wait_timeout(told, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        *told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_boot_clock_goes_forward_in_real_time() {
        let before = BootClock.now();
        BootClock.sleep(20_000);
        let span = BootClock.now() - before;
        assert!((20_000..2_000_000).contains(&span), "{span} us");
    }

    #[test]
    fn the_system_clock_of_a_live_run_is_the_machines() {
        let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_micros() as i64;
        assert!((BootClock.system() - Utc(now)).abs() < 2 * SECOND);
    }

    #[test]
    fn a_scaled_clock_scales_stamps_and_timers_alike() {
        let start = Utc::parse("2027-02-09T12:20:00Z").unwrap();
        for (speed, real_us) in
            [(0.5, 2_000_000), (1.0, 1_000_000), (20.0, 50_000), (1e9, 1_000), (f64::NAN, 1_000_000)]
        {
            let real = ScaledClock::new(speed, start).real(SECOND).as_micros() as i64;
            assert_eq!(real, real_us, "speed {speed}");
        }
        let clock = ScaledClock::new(50.0, start);
        let before = clock.now();
        clock.sleep(5 * SECOND);
        let span = clock.now() - before;
        assert!((5 * SECOND..100 * SECOND).contains(&span), "{span} us");
        assert!((clock.system() - start - clock.now().0).abs() < 10 * SECOND);
        assert_eq!(clock.real(-5), Duration::ZERO);
    }

    #[test]
    fn a_stop_wakes_those_that_wait() {
        let stop = Stop::new();
        assert!(!stop.wait(Duration::from_millis(1)));
        let other = stop.clone();
        let waiting = std::thread::spawn(move || other.wait(Duration::MAX));
        stop.set();
        assert!(waiting.join().unwrap());
        assert!(stop.is_set() && stop.wait(Duration::ZERO));
    }
}
