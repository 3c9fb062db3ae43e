//! One step: its texts filled in, its evidence with what it is compared with.

use super::expand::{Job, slug};
use super::template::{Template, Values};
use super::values::Item;
use super::{
    Bound, Evidence, EvidenceTemplate, ExpandError, Expected, Limit, ScanOf, Step, StepId, StepTemplate, WaitFor,
    number,
};
use crate::text::shown;

/// The longest wait that makes sense at a bench: a day, in seconds.
pub(crate) const LONGEST_WAIT: u32 = 86_400;

impl<'a> Job<'a> {
    /// One step with its texts filled in.
    pub(super) fn step(
        &self,
        template: &StepTemplate,
        id: StepId,
        item: &Item<'a>,
        values: &dyn Values,
    ) -> Result<Step, ExpandError> {
        let failed = |error| ExpandError::Template { step: id.0.clone(), error };
        let render = |text: &str| Template::parse(text).and_then(|t| t.render(values)).map_err(failed);
        let (evidence, note) = self.evidence(&template.evidence, &id, item, values)?;
        let mut text = render(&template.text)?;
        if let Some(note) = note {
            text = format!("{text}\n{note}");
        }
        let step = Step {
            text,
            caution: template.caution.as_deref().map(render).transpose()?,
            help: template.help.as_deref().map(render).transpose()?,
            slot: item.slot.map(|slot| slot.slot.label.clone()),
            place: item.place(),
            from: item.from.map(|slot| slot.slot.label.clone()),
            evidence,
            critical: template.critical,
            recheck: template.recheck,
            warns: template.warns,
            each: item.each,
            id,
        };
        self.keeps_its_answer(template, &step, values)?;
        Ok(step)
    }

    /// A step must not give away what it asks for: an answer read off the screen proves nothing.
    fn keeps_its_answer(&self, template: &StepTemplate, step: &Step, values: &dyn Values) -> Result<(), ExpandError> {
        let leaks = |what| Err(ExpandError::Leaks { step: step.id.0.clone(), what });
        match &step.evidence {
            Evidence::Scan { expected: Expected::Exactly(text) | Expected::Part { part: text }, .. } => {
                let said = [Some(&step.text), step.caution.as_ref(), step.help.as_ref()];
                if said.into_iter().flatten().any(|said| stands_in(text, said) || stands_in(shown(text).as_str(), said))
                {
                    return leaks("the label to scan");
                }
            }
            Evidence::Count { expected } => {
                let said = [Some(&template.text), template.caution.as_ref(), template.help.as_ref()];
                for said in said.into_iter().flatten() {
                    let said = Template::parse(said)
                        .and_then(|t| t.render_own_words(values))
                        .map_err(|error| ExpandError::Template { step: step.id.0.clone(), error })?;
                    if stands_in(&expected.to_string(), &said) {
                        return leaks("the count");
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }

    /// The evidence, and what has to be said with it.
    fn evidence(
        &self,
        template: &EvidenceTemplate,
        id: &StepId,
        item: &Item<'a>,
        values: &dyn Values,
    ) -> Result<(Evidence, Option<String>), ExpandError> {
        let render = |text: &str| {
            Template::parse(text)
                .and_then(|t| t.render(values))
                .map_err(|error| ExpandError::Template { step: id.0.clone(), error })
        };
        Ok(match template {
            EvidenceTemplate::Confirm { state } => (Evidence::Confirm { state: render(state)? }, None),
            EvidenceTemplate::Word { word, meaning } => {
                (Evidence::Word { word: render(word)?, meaning: render(meaning)? }, None)
            }
            EvidenceTemplate::Reading { unit, lowest, highest } => {
                let lowest = self.bound(lowest.as_deref(), id)?;
                let highest = self.bound(highest.as_deref(), id)?;
                let note = match (&lowest, &highest) {
                    (Edge::Unset, Edge::Unset) => {
                        Some("Lowest and highest are not set by this site: the reading is kept, not judged.")
                    }
                    (Edge::Unset, Edge::None) => {
                        Some("The lowest is not set by this site: the reading is kept, not judged.")
                    }
                    (Edge::None, Edge::Unset) => {
                        Some("The highest is not set by this site: the reading is kept, not judged.")
                    }
                    (Edge::Unset, _) => Some("The lowest is not set by this site and is not judged."),
                    (_, Edge::Unset) => Some("The highest is not set by this site and is not judged."),
                    _ => None,
                };
                let evidence =
                    Evidence::Reading { unit: unit.clone(), lowest: lowest.bound(), highest: highest.bound() };
                (evidence, note.map(str::to_owned))
            }
            EvidenceTemplate::Scan { of } => {
                (Evidence::Scan { of: *of, expected: self.expected(*of, id, item)? }, None)
            }
            EvidenceTemplate::Count { expected } => {
                let text = render(expected)?;
                let not_whole =
                    || ExpandError::NotANumber { step: id.0.clone(), value: text.clone(), what: "whole number" };
                (Evidence::Count { expected: number::count(&text).ok_or_else(not_whole)? }, None)
            }
            EvidenceTemplate::Tally => (Evidence::Tally, None),
            EvidenceTemplate::TallyBack { first } => {
                let (card, step) = first.rsplit_once('/').unwrap_or(("", first));
                (Evidence::TallyBack { first: StepId(format!("{}/{step}", slug(card))) }, None)
            }
            EvidenceTemplate::Choice { options, good } => {
                (Evidence::Choice { options: options.clone(), good: good.clone() }, None)
            }
            EvidenceTemplate::Text { optional } => (Evidence::Text { optional: *optional }, None),
            EvidenceTemplate::Photo => (Evidence::Photo, None),
            EvidenceTemplate::Wait { wait_for: WaitFor::Snapshot } => (Evidence::Snapshot, None),
            EvidenceTemplate::Wait { wait_for: WaitFor::Seconds(text) } => match self.bound(Some(text), id)? {
                Edge::Set(bound) => (Evidence::Time { seconds: seconds(&bound, id)? }, None),
                _ => {
                    let note = "The time is not set by this site: wait as the machine's own service manual says.";
                    (Evidence::Time { seconds: 0 }, Some(note.to_owned()))
                }
            },
        })
    }

    fn bound(&self, text: Option<&str>, id: &StepId) -> Result<Edge, ExpandError> {
        let Some(text) = text else { return Ok(Edge::None) };
        let (value, source) = match self.checklist.limit.iter().find(|limit| limit.name == text) {
            Some(Limit { value: None, .. }) => return Ok(Edge::Unset),
            Some(Limit { value: Some(value), source, .. }) => (value.as_str(), source.clone()),
            None => (text, "checklist".to_owned()),
        };
        let not = || ExpandError::NotANumber { step: id.0.clone(), value: value.to_owned(), what: "number or limit" };
        Ok(Edge::Set(Bound { value: number::decimal(value).map_err(|_| not())?, source }))
    }

    fn expected(&self, of: ScanOf, id: &StepId, item: &Item<'a>) -> Result<Expected, ExpandError> {
        let tag = |tag: Option<&str>, what| match tag.map(str::trim).filter(|tag| !tag.is_empty()) {
            Some(tag) => Ok(Expected::Exactly(tag.to_owned())),
            None => Err(ExpandError::NothingToCompare { step: id.0.clone(), what }),
        };
        match of {
            ScanOf::Enclosure => tag(self.unit.enclosure.as_deref(), "enclosure tag"),
            ScanOf::Bay => tag(self.unit.bay.as_deref(), "bay"),
            ScanOf::Chassis => tag(Some(&self.unit.chassis), "chassis tag"),
            ScanOf::Slot => tag(item.slot.map(|slot| slot.slot.label.as_str()), "slot label"),
            ScanOf::Badge => Ok(Expected::Anything),
            ScanOf::Module => {
                let known =
                    |text: Option<&String>| text.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty());
                let identity = item.module.map(|module| &module.identity);
                Ok(match identity.and_then(|identity| known(identity.serial.as_ref())) {
                    Some(serial) => Expected::Exactly(serial),
                    None => match identity.and_then(|identity| known(identity.part.as_ref())) {
                        Some(part) => Expected::Part { part },
                        None => Expected::AnyModule,
                    },
                })
            }
        }
    }
}

/// One end of a range.
enum Edge {
    /// The checklist wants none.
    None,
    /// The checklist wants one that the site has not set.
    Unset,
    Set(Bound),
}

impl Edge {
    fn bound(self) -> Option<Bound> {
        match self {
            Self::Set(bound) => Some(bound),
            Self::None | Self::Unset => None,
        }
    }
}

/// A wait in whole seconds, rounded up: never less than what the source says.
fn seconds(bound: &Bound, id: &StepId) -> Result<u32, ExpandError> {
    u32::try_from(bound.value.ceil()).ok().filter(|seconds| *seconds <= LONGEST_WAIT).ok_or_else(|| {
        ExpandError::NotANumber {
            step: id.0.clone(),
            value: bound.value.to_string(),
            what: "wait of at most a day in seconds",
        }
    })
}

/// Whether `wanted` stands in `said` as a word of its own; letter case aside.
pub(crate) fn stands_in(wanted: &str, said: &str) -> bool {
    let (wanted, said) = (wanted.to_lowercase(), said.to_lowercase());
    if wanted.is_empty() {
        return false;
    }
    said.match_indices(&wanted).any(|(at, found)| {
        let before = said.get(..at).and_then(|text| text.chars().next_back());
        let after = said.get(at + found.len()..).and_then(|text| text.chars().next());
        !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
    })
}
