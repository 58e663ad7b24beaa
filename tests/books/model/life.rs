//! How far a batch of the model is, from what was recorded of it and stands.

use super::Model;
use crate::books::deeds::{Amount, Day, Event, Spot, Stage, What};

impl Model {
    /// What was recorded of a batch for days up to this one and stands, in the order of the days.
    fn until(&self, batch: usize, day: Day) -> Vec<&Event> {
        let mut found: Vec<&Event> = self.of_batch(batch).filter(|event| event.day <= day).collect();
        found.sort_by_key(|event| event.day);
        found
    }

    /// When its yeast was pitched, into it or into the batch it came from.
    pub fn pitched_on(&self, batch: usize) -> Option<Day> {
        self.pitched_by(batch, Day::MAX)
    }

    pub(super) fn pitched_by(&self, batch: usize, day: Day) -> Option<Day> {
        let events = self.until(batch, day);
        let own = events.iter().find(|event| event.what == What::Pitch).map(|event| event.day);
        let spot = Spot::Batch(batch);
        let came = || events.iter().filter(|event| event.brought(spot)).find_map(|event| event.moved_as?.1);
        own.or_else(came)
    }

    /// How far a batch is: from what was recorded of it and stands.
    pub fn stage(&self, batch: usize) -> Stage {
        self.stage_on(batch, Day::MAX)
    }

    pub(super) fn stage_on(&self, batch: usize, day: Day) -> Stage {
        let (events, spot) = (self.until(batch, day), Spot::Batch(batch));
        let had = |what| events.iter().any(|event| event.what == what);
        let volume = |event: &Event| {
            event
                .changes
                .iter()
                .filter(|change| change.0 == spot)
                .map(|change| change.1.quantity)
                .sum::<Amount>()
        };
        if had(What::Abandonment) {
            return Stage::Abandoned;
        } else if had(What::Closing) {
            return Stage::Closed;
        } else if had(What::Bottling) && events.iter().map(|event| volume(event)).sum::<Amount>() == 0 {
            return Stage::LaidDown;
        }
        let (mut filled, mut works, mut rests) = (false, false, false);
        for event in &events {
            let came = event.moved_as.map(|moved| moved.0).filter(|_| event.brought(spot));
            filled |= event.what == What::Draw || event.filled().any(|at| at == spot);
            if event.what == What::Pitch || came == Some(Stage::Working) {
                (works, rests) = (true, false);
            } else if event.what == What::Bottling || works && event.what == What::Racking {
                (works, rests) = (false, true);
            } else if came >= Some(Stage::Resting) {
                rests = !works;
            }
        }
        match (works, rests, filled) {
            (true, ..) => Stage::Working,
            (_, true, _) => Stage::Resting,
            (.., true) => Stage::Preparing,
            _ => Stage::Planned,
        }
    }
}
