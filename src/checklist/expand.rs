//! From templates, plan and board to the steps of one job.

use std::collections::{BTreeMap, BTreeSet};

use super::route::{Hop, covers, fill_order, hops};
use super::values::{Item, ItemValues};
use super::{Card, CardTemplate, Checklist, Each, Evidence, ExpandError, Site, Step, StepId, Steps, When};
use crate::board::{Board, SlotLabel, SlotRef};
use crate::order::Unit;
use crate::plan::{Action, Plan};
use crate::source::nearest;

/// The most steps on one card: the list length up to which people keep their place.
pub(crate) const LONGEST_CARD: usize = 10;

impl Checklist {
    /// The checklist with a site's own limits in place of the shipped ones. A record carries this one, so that its steps
    /// can be made again from it alone.
    ///
    /// # Errors
    /// When the site sets a limit the checklist does not have, or in another unit.
    pub fn with_site(&self, site: &Site) -> Result<Self, ExpandError> {
        let mut checklist = self.clone();
        for set in &site.limit {
            let names = || self.limit.iter().map(|limit| limit.name.as_str());
            let Some(limit) = checklist.limit.iter_mut().find(|limit| limit.name == set.name) else {
                let nearest = nearest(&set.name, names()).map(str::to_owned);
                return Err(ExpandError::UnknownLimit { limit: set.name.clone(), nearest });
            };
            if limit.unit != set.unit {
                return Err(ExpandError::OtherUnit {
                    limit: set.name.clone(),
                    unit: set.unit.clone(),
                    wanted: limit.unit.clone(),
                });
            }
            *limit = set.clone();
        }
        Ok(checklist)
    }
}

/// A name as it stands in a step's id: lower case, everything but letters and digits a `-`.
pub(crate) fn slug(name: &str) -> String {
    let mut slug = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    slug.truncate(slug.trim_end_matches('-').len());
    slug
}

/// The steps of one job: `unit` is the chassis tag of the machine worked on, `site` the site's own limits.
///
/// Neighbouring cards repeated over the same things go thing by thing (slot A: take, seat; slot B: take, seat), `lift` and
/// `move` together move by move. Cards of which no step is wanted are left out. See [`super::route`] for the order.
///
/// # Errors
/// [`ExpandError`] when the plan cannot be carried out, the unit is not in the order, or the checklist is not valid.
pub fn expand(checklist: &Checklist, plan: &Plan, unit: &str, site: Option<&Site>) -> Result<Steps, ExpandError> {
    let with_site = site.map(|site| checklist.with_site(site)).transpose()?;
    let checklist = with_site.as_ref().unwrap_or(checklist);
    steps_of(checklist, &checklist.card, plan, unit, None)
}

/// What is done when the machine is opened once more, beside what the plan given with it says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Again {
    /// Slots whose module is taken out and seated again.
    pub reseat: Vec<SlotLabel>,
    /// The firmware's settings are cleared before the next start.
    pub clear_settings: bool,
}

/// The steps of one more opening of the machine: the checklist's `again` cards over what `plan` removes, moves and inserts, and
/// over what `again` says. Where nothing is handled, the machine is only started again.
///
/// # Errors
/// As [`expand`].
pub fn expand_again(checklist: &Checklist, plan: &Plan, unit: &str, again: &Again) -> Result<Steps, ExpandError> {
    steps_of(checklist, &checklist.again, plan, unit, Some(again))
}

fn steps_of(
    checklist: &Checklist,
    templates: &[CardTemplate],
    plan: &Plan,
    unit: &str,
    again: Option<&Again>,
) -> Result<Steps, ExpandError> {
    let unit = plan.order.unit.iter().find(|u| u.chassis == unit).ok_or_else(|| ExpandError::UnknownUnit {
        unit: unit.to_owned(),
        known: plan.order.unit.iter().map(|u| u.chassis.clone()).collect(),
    })?;
    slots_free(plan)?;
    let job = Job { checklist, plan, unit, again, slugs: slugs(&plan.board), hops: hops(plan)? };
    let mut cards = Vec::new();
    let mut rest = templates;
    while let Some(first) = rest.first() {
        let together = rest.iter().take_while(|card| track(card.each) == track(first.each)).count();
        // Cards that are not repeated stand alone.
        let (group, after) = rest.split_at(if first.each.is_none() { 1 } else { together });
        rest = after;
        job.group(group, &mut cards)?;
    }
    let steps = Steps { cards };
    tallies_known(&steps)?;
    Ok(steps)
}

/// Cards of the same track go thing by thing.
fn track(each: Option<Each>) -> Option<Each> {
    if each == Some(Each::Lift) { Some(Each::Move) } else { each }
}

/// Checks that every slot named is on the board, and every slot filled is free by the time its module comes.
fn slots_free(plan: &Plan) -> Result<(), ExpandError> {
    let named = plan.slot.iter().flat_map(|slot| std::iter::once(&slot.slot).chain(&slot.from));
    for slot in named.chain(plan.remove.iter().map(|removal| &removal.slot)) {
        if plan.board.slot(slot.as_str()).is_none() {
            return Err(ExpandError::SlotNotOnBoard { slot: slot.clone() });
        }
    }
    let mut emptied = BTreeSet::new();
    let moved = plan.slot.iter().filter(|slot| slot.action == Action::Move).filter_map(|slot| slot.from.as_ref());
    for slot in moved.chain(plan.remove.iter().map(|removal| &removal.slot)) {
        if !emptied.insert(slot) {
            return Err(ExpandError::TakenTwice { slot: slot.clone() });
        }
    }
    let mut full: BTreeSet<&SlotLabel> =
        plan.order.fitted.iter().map(|fitted| &fitted.slot).filter(|slot| !emptied.contains(slot)).collect();
    for slot in plan.slot.iter().filter(|slot| slot.action == Action::Keep) {
        full.insert(&slot.slot);
    }
    for slot in plan.slot.iter().filter(|slot| slot.action != Action::Keep) {
        if !full.insert(&slot.slot) {
            return Err(ExpandError::Occupied { slot: slot.slot.clone() });
        }
    }
    Ok(())
}

/// Slot labels as they stand in ids; two labels that would be the same are told apart by a number.
fn slugs(board: &Board) -> BTreeMap<&str, String> {
    let mut taken = BTreeSet::new();
    let mut slugs = BTreeMap::new();
    for slot in board.slots() {
        let plain = slug(slot.slot.label.as_str());
        let mut unique = if plain.is_empty() { format!("slot-{}", slot.index + 1) } else { plain.clone() };
        let mut n = 2;
        while !taken.insert(unique.clone()) {
            unique = format!("{plain}.{n}");
            n += 1;
        }
        slugs.insert(slot.slot.label.as_str(), unique);
    }
    slugs
}

/// Every tally that is compared with stands earlier in the job.
fn tallies_known(steps: &Steps) -> Result<(), ExpandError> {
    let mut tallies = BTreeSet::new();
    for (_, _, step) in steps.iter() {
        match &step.evidence {
            Evidence::Tally => {
                tallies.insert(&step.id);
            }
            Evidence::TallyBack { first } if !tallies.contains(first) => {
                return Err(ExpandError::NoSuchTally { step: step.id.0.clone(), first: first.0.clone() });
            }
            _ => {}
        }
    }
    Ok(())
}

/// What all cards of one job are made from.
pub(super) struct Job<'a> {
    pub(super) checklist: &'a Checklist,
    pub(super) plan: &'a Plan,
    pub(super) unit: &'a Unit,
    /// Set when the machine is opened once more.
    again: Option<&'a Again>,
    slugs: BTreeMap<&'a str, String>,
    hops: Vec<Hop>,
}

impl<'a> Job<'a> {
    fn slot(&self, label: &SlotLabel) -> Result<SlotRef<'a>, ExpandError> {
        self.plan.board.slot(label.as_str()).ok_or_else(|| ExpandError::SlotNotOnBoard { slot: label.clone() })
    }

    /// All cards of one group of templates: for each thing the group is repeated over, each of its cards.
    fn group(&self, group: &[CardTemplate], cards: &mut Vec<Card>) -> Result<(), ExpandError> {
        let each = group.first().and_then(|card| card.each);
        let rounds = self.rounds(each)?;
        // Counted by what the hands do: of a ring of moves each module is lifted once and put down once.
        let has = |round: &[(Item<'a>, String)], each: Option<Each>| round.iter().any(|(item, _)| item.each == each);
        for (n, round) in rounds.iter().enumerate() {
            for template in group {
                let Some((item, key)) = round.iter().find(|(item, _)| item.each == template.each) else { continue };
                let name = match each {
                    None => template.name.clone(),
                    // The slot itself is not named: the card's name stays in view while its label is asked for.
                    Some(_) => {
                        let of = rounds.iter().filter(|round| has(round, template.each)).count();
                        let nth = rounds.iter().take(n + 1).filter(|round| has(round, template.each)).count();
                        format!("{} {nth} of {of}", template.name)
                    }
                };
                if let Some(card) = self.card(template, name, item, key)? {
                    cards.push(card);
                }
            }
        }
        Ok(())
    }

    /// What a group is repeated over, in order. A round has one item, or for a move its lift and its way down. Each comes with
    /// the middle part of its steps' ids.
    fn rounds(&self, each: Option<Each>) -> Result<Vec<Vec<(Item<'a>, String)>>, ExpandError> {
        let plan = self.plan;
        let key = |slot: SlotRef<'_>| self.slugs.get(slot.slot.label.as_str()).cloned().unwrap_or_default();
        let mut rounds = Vec::new();
        match each {
            None => rounds.push(vec![(Item::default(), String::new())]),
            Some(Each::Insert) => {
                // The slot filled last by a move is the slot before the first one filled from stock.
                let mut prev = match self.hops.iter().rev().find(|hop| !matches!(hop, Hop::ToTray { .. })) {
                    Some(hop) => Some(self.slot(hop.ends().1)?),
                    None => None,
                };
                let inserts = plan.slot.iter().filter(|slot| slot.action == Action::Insert);
                let slots: Vec<SlotLabel> = inserts.map(|slot| slot.slot.clone()).collect();
                for label in fill_order(&plan.board, &slots) {
                    let slot = self.slot(&label)?;
                    let Some(planned) = plan.module_at(label.as_str()) else { continue };
                    let item = Item {
                        each,
                        slot: Some(slot),
                        prev,
                        module: Some(&planned.module),
                        lot: planned.lot.as_deref(),
                        ..Item::default()
                    };
                    rounds.push(vec![(item, key(slot))]);
                    prev = Some(slot);
                }
            }
            Some(Each::Lift | Each::Move) => {
                let mut prev = None;
                for hop in &self.hops {
                    let (from, to) = hop.ends();
                    let (from, to) = (self.slot(from)?, self.slot(to)?);
                    let module = plan.module_at(to.slot.label.as_str()).map(|planned| &planned.module);
                    let tray = !matches!(hop, Hop::Across { .. });
                    let lift = Item {
                        each: Some(Each::Lift),
                        slot: Some(from),
                        goes: Some(to),
                        module,
                        tray,
                        ..Item::default()
                    };
                    let down = Item {
                        each: Some(Each::Move),
                        slot: Some(to),
                        from: Some(from),
                        prev,
                        module,
                        tray,
                        ..Item::default()
                    };
                    let mut round = Vec::new();
                    if !matches!(hop, Hop::FromTray { .. }) {
                        round.push((lift, key(from)));
                    }
                    if !matches!(hop, Hop::ToTray { .. }) {
                        round.push((down, key(to)));
                        prev = Some(to);
                    }
                    rounds.push(round);
                }
            }
            Some(Each::Remove) => {
                let slots: Vec<SlotLabel> = plan.remove.iter().map(|removal| removal.slot.clone()).collect();
                // Near before far, so that no hand goes over a module that still stands.
                for label in fill_order(&plan.board, &slots).iter().rev() {
                    let slot = self.slot(label)?;
                    let Some(removal) = plan.remove.iter().find(|removal| removal.slot == *label) else { continue };
                    let item = Item {
                        each,
                        slot: Some(slot),
                        module: Some(&removal.module),
                        to: removal.to.as_deref(),
                        ..Item::default()
                    };
                    rounds.push(vec![(item, key(slot))]);
                }
            }
            Some(Each::Reseat) => {
                let slots = self.again.map_or(&[][..], |again| &again.reseat);
                for label in fill_order(&plan.board, slots) {
                    let slot = self.slot(&label)?;
                    let module = plan.module_at(label.as_str()).map(|planned| &planned.module);
                    rounds.push(vec![(Item { each, slot: Some(slot), module, ..Item::default() }, key(slot))]);
                }
            }
            Some(Each::CoverOff | Each::CoverOn) => {
                let reseat = self.again.map_or(&[][..], |again| &again.reseat);
                for (n, cover) in covers(plan, reseat).into_iter().enumerate() {
                    let name = slug(&cover.name);
                    rounds.push(vec![(
                        Item { each, cover: Some(cover), ..Item::default() },
                        format!("{}.{name}", n + 1),
                    )]);
                }
                if each == Some(Each::CoverOn) {
                    rounds.reverse();
                }
            }
        }
        Ok(rounds)
    }

    /// Conditions on the whole opening; `None` for those on one repetition.
    fn holds(&self, when: When) -> Option<bool> {
        let handled = || {
            let touched = self.plan.slot.iter().any(|slot| slot.action != Action::Keep);
            touched || !self.plan.remove.is_empty()
        };
        match when {
            When::Handled => Some(self.again.is_none_or(|again| !again.reseat.is_empty() || handled())),
            When::Untouched => self.holds(When::Handled).map(|handled| !handled),
            When::ClearSettings => Some(self.again.is_some_and(|again| again.clear_settings)),
            _ => None,
        }
    }

    fn card(
        &self,
        template: &CardTemplate,
        name: String,
        item: &Item<'a>,
        key: &str,
    ) -> Result<Option<Card>, ExpandError> {
        let holds = |when: &[When]| {
            when.iter().all(|when| self.holds(*when).unwrap_or_else(|| item.holds(*when, self.plan, self.unit)))
        };
        if !holds(&template.when) {
            return Ok(None);
        }
        let values = ItemValues { item, checklist: self.checklist, plan: self.plan, unit: self.unit };
        let before = match key {
            "" => slug(&template.name),
            key => format!("{}/{key}", slug(&template.name)),
        };
        let mut steps: Vec<Step> = Vec::new();
        for step in template.step.iter().filter(|step| holds(&step.when)) {
            let id = StepId(format!("{before}/{}", step.name));
            if steps.iter().any(|other| other.id == id) {
                return Err(ExpandError::SameName { step: id.0 });
            }
            steps.push(self.step(step, id, item, &values)?);
        }
        if steps.len() > LONGEST_CARD {
            return Err(ExpandError::TooLong { card: name, steps: steps.len() });
        }
        Ok((!steps.is_empty()).then_some(Card { name, steps }))
    }
}
