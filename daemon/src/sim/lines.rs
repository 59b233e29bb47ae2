//! The day's lines in order of time, made as they are asked for.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use gunwale_protocol::time::SECOND;

use super::motion::{Happened, Motion, Step, TICK_S};
use super::receiver::Receiver;
use super::scale::Scale;
use super::scenario::Scenario;
use super::{Kind, Line, Options};

/// All lines of a day. Holds the few that are on their way, never the day.
#[derive(Debug, Clone)]
pub struct Lines<'a> {
    plan: &'a Scenario,
    motion: Motion<'a>,
    receiver: Receiver,
    scale: Scale,
    waiting: BinaryHeap<Reverse<Line>>,
    /// How far the day has been made, microseconds; `None` when it is over.
    made: Option<i64>,
}

impl<'a> Lines<'a> {
    pub(super) fn new(plan: &'a Scenario, options: &Options) -> Lines<'a> {
        Lines {
            plan,
            motion: Motion::new(plan, options.seed),
            receiver: Receiver::new(options),
            scale: Scale::new(options.seed, options.scale),
            waiting: BinaryHeap::new(),
            made: Some(i64::MIN),
        }
    }

    fn make(&mut self, step: &Step) {
        let t_s = step.tick as f64 * TICK_S;
        let waiting = &mut self.waiting;
        let mut say = |after_s: f64, text: &str| {
            let t_us = said_us(t_s, after_s);
            waiting.push(Reverse(Line { t_us, kind: Kind::Said, text: text.into() }));
        };
        match step.happened {
            Some(Happened::Alongside(at)) => {
                if let Some(stop) = self.plan.stops.get(at) {
                    self.scale.alongside(t_s, &stop.words);
                    stop.words.said.iter().for_each(|(after, text)| say(*after, text));
                }
            }
            Some(Happened::Left(at)) => {
                if let Some((after, text)) = self.plan.stops.get(at).and_then(|s| s.words.late.as_ref()) {
                    say(*after, text);
                }
            }
            Some(Happened::Set(..)) | None => {}
        }
        self.receiver.hear(step, |line| waiting.push(Reverse(line)));
        self.scale.hear(step.tick, |line| waiting.push(Reverse(line)));
        self.made = Some((t_s * SECOND as f64) as i64);
    }
}

/// When something is said so many seconds after a step, microseconds of the day.
pub(super) fn said_us(step_s: f64, after_s: f64) -> i64 {
    ((step_s + after_s) * SECOND as f64) as i64
}

impl Iterator for Lines<'_> {
    type Item = Line;

    fn next(&mut self) -> Option<Line> {
        loop {
            let due = match (self.waiting.peek(), self.made) {
                (Some(Reverse(line)), Some(made)) => line.t_us <= made,
                (_, made) => made.is_none(),
            };
            if due {
                return self.waiting.pop().map(|Reverse(line)| line);
            }
            match self.motion.next() {
                Some(step) => self.make(&step),
                None => self.made = None,
            }
        }
    }
}
