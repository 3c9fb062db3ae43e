//! The values that the names of a template stand for, on one card.

use super::template::{Class, Values};
use super::{Checklist, Each, Limit, When};
use crate::board::{Cover, Hold, SlotRef};
use crate::module::Module;
use crate::order::Unit;
use crate::plan::{Action, Plan};
use crate::text::shown;

/// What one repetition of a card is about.
#[derive(Debug, Clone, Default)]
pub(crate) struct Item<'a> {
    pub each: Option<Each>,
    /// The slot the hands are at.
    pub slot: Option<SlotRef<'a>>,
    /// The slot a moved module stood in.
    pub from: Option<SlotRef<'a>>,
    /// The slot a lifted module goes to.
    pub goes: Option<SlotRef<'a>>,
    /// The slot filled before this one.
    pub prev: Option<SlotRef<'a>>,
    pub module: Option<&'a Module>,
    pub lot: Option<&'a str>,
    /// Where a removed module goes.
    pub to: Option<&'a str>,
    pub cover: Option<&'a Cover>,
    /// A move by way of the tray.
    pub tray: bool,
}

impl Item<'_> {
    /// Slot and module in words.
    pub fn place(&self) -> Option<String> {
        let at = self.slot?;
        let (slot, socket, channel) = (&at.slot.label, shown(&at.socket.label), shown(&at.channel.label));
        let place =
            format!("slot {}: socket {socket}, channel {channel}, position {}", shown(slot.as_str()), at.slot.position);
        let Some(module) = self.module else { return Some(place) };
        let known = |what: &str, text: Option<String>| {
            text.filter(|text| !text.is_empty()).map_or_else(String::new, |text| format!(", {what} {}", shown(&text)))
        };
        let part = known("part", module.identity.part.clone());
        let serial = module.identity.serial.as_deref().map(|serial| end(shown(serial).as_str()));
        let serial = known("serial ending in", serial);
        Some(format!("{place}; module {}{part}{serial}", module.spec))
    }

    /// Whether a condition holds for this repetition.
    pub fn holds(&self, when: When, plan: &Plan, unit: &Unit) -> bool {
        let key = self.slot.and_then(|slot| slot.slot.key.as_deref());
        let before = self.prev.and_then(|slot| slot.slot.key.as_deref());
        let differs = matches!((before, key), (Some(before), Some(key)) if before != key);
        let fasteners = self.cover.and_then(|cover| cover.fasteners.as_ref()).filter(|fasteners| fasteners.count > 0);
        let identity = self.module.map(|module| &module.identity);
        match when {
            When::Enclosure => unit.enclosure.is_some() || plan.board.enclosure.is_some(),
            When::Standalone => unit.enclosure.is_none() && plan.board.enclosure.is_none(),
            When::EnclosureTag => unit.enclosure.is_some(),
            When::Bay => unit.bay.is_some(),
            When::Moves => plan.slot.iter().any(|slot| slot.action == Action::Move),
            When::Removals => !plan.remove.is_empty(),
            When::LooseFasteners => fasteners.is_some_and(|fasteners| fasteners.hold == Hold::Loose),
            When::CaptiveFasteners => fasteners.is_some_and(|fasteners| fasteners.hold == Hold::Captive),
            When::Fasteners => fasteners.is_some(),
            When::Cables => self.cover.is_some_and(|cover| !cover.cables.is_empty()),
            When::KeyDiffers => differs,
            When::KeyKnown => key.is_some(),
            When::KeySame => key.is_some() && !differs,
            When::Tray => self.tray,
            When::NoTray => !self.tray,
            When::SerialKnown => identity.is_some_and(|identity| identity.serial.is_some()),
            When::PartKnown => identity.is_some_and(|identity| identity.part.is_some()),
            // On the whole opening, so the same for each repetition.
            When::Handled => true,
            When::Untouched | When::ClearSettings => false,
        }
    }
}

/// A limit as words: `16 kg`, or that nobody has set it.
pub(crate) fn limit_words(limit: &Limit) -> String {
    match &limit.value {
        Some(value) => format!("{value} {}", limit.unit),
        None => "not set by this site".to_owned(),
    }
}

/// The values of one repetition. Each is made when a text asks for it: a card names few of them.
#[derive(Debug)]
pub(crate) struct ItemValues<'a> {
    pub item: &'a Item<'a>,
    pub checklist: &'a Checklist,
    pub plan: &'a Plan,
    pub unit: &'a Unit,
}

impl Values for ItemValues<'_> {
    fn value(&self, name: &str) -> Option<(Class, Option<String>)> {
        if let Some(count) = self.number(name) {
            return Some((Class::Number, Some(count.to_string())));
        }
        let words = match name.split_once('.')? {
            ("limit", limit) => {
                self.checklist.limit.iter().find(|set| set.name == limit).map(|set| Some(limit_words(set)))
            }
            ("slot", of) => slot_words(self.item.slot, of),
            ("from", of) => slot_words(self.item.from, of),
            ("prev", of) => slot_words(self.item.prev, of),
            ("module", of) => self.module_words(of),
            ("cover", of) => self.cover_words(of),
            _ => self.job_words(name),
        };
        words.map(|value| (Class::Words, value.filter(|value| !value.trim().is_empty())))
    }
}

/// Of all these, the outer `None`: there is no such name here; the inner one: it has no value.
#[allow(clippy::option_option, reason = "a name that is not known is told from one without a value")]
impl ItemValues<'_> {
    fn number(&self, name: &str) -> Option<usize> {
        let count = |action| self.plan.slot.iter().filter(|slot| slot.action == action).count();
        Some(match name {
            "plan.inserts" => count(Action::Insert),
            "plan.moves" => count(Action::Move),
            "plan.removals" => self.plan.remove.len(),
            "plan.modules" => self.plan.slot.len(),
            "cover.fasteners" => self.item.cover?.fasteners.as_ref().map_or(0, |fasteners| fasteners.count as usize),
            "cover.cables.count" => self.item.cover?.cables.len(),
            _ => return None,
        })
    }

    /// Of the plan, the order, the unit, the board, and the two ends of a move.
    fn job_words(&self, name: &str) -> Option<Option<String>> {
        let (plan, board) = (self.plan, &self.plan.board);
        let out_of = || self.item.from.map(|slot| slot.slot.label.0.clone());
        Some(match name {
            "plan.name" => Some(plan.name.clone()),
            "plan.capacity" => Some(plan.capacity().to_string()),
            "plan.mts" => plan.mts.map(|mts| mts.to_string()),
            "order.name" => Some(plan.order.name.clone()),
            "unit.chassis" => Some(self.unit.chassis.clone()),
            "unit.enclosure" => self.unit.enclosure.clone(),
            "unit.bay" => self.unit.bay.clone(),
            "board.name" => Some(board.name.clone()),
            "board.source" => board.source.clone(),
            "board.enclosure" => board.enclosure.as_ref().map(|enclosure| enclosure.name.clone()),
            "board.release" => board.enclosure.as_ref().and_then(|enclosure| enclosure.release.clone()),
            "goes.label" => self.item.goes.map(|slot| slot.slot.label.0.clone()),
            "hand.label" => out_of().filter(|_| !self.item.tray),
            "tray.label" => out_of().filter(|_| self.item.tray),
            _ => return None,
        })
    }

    fn module_words(&self, of: &str) -> Option<Option<String>> {
        let module = self.item.module?;
        Some(match of {
            "spec" => Some(module.spec.to_string()),
            "gib" => Some(module.spec.gib.gib_text()),
            "kind" => module.spec.kind.map(|kind| kind.to_string()),
            "part" => module.identity.part.clone(),
            "part_end" => module.identity.part.as_deref().map(end),
            "serial_end" => module.identity.serial.as_deref().map(end),
            "lot" => self.item.lot.map(str::to_owned),
            "to" => self.item.to.map(str::to_owned),
            _ => return None,
        })
    }

    fn cover_words(&self, of: &str) -> Option<Option<String>> {
        let cover = self.item.cover?;
        Some(match of {
            "name" => Some(cover.name.clone()),
            "fasteners.driver" => cover.fasteners.as_ref().and_then(|fasteners| fasteners.driver.clone()),
            "cables" => Some(cover.cables.join(", ")),
            "park" => cover.park.clone(),
            "mind" => cover.mind.clone(),
            _ => return None,
        })
    }
}

#[allow(clippy::option_option, reason = "as for the others")]
fn slot_words(slot: Option<SlotRef<'_>>, of: &str) -> Option<Option<String>> {
    Some(match of {
        "label" => slot.map(|slot| slot.slot.label.0.clone()),
        "socket" => slot.map(|slot| slot.socket.label.clone()),
        "channel" => slot.map(|slot| slot.channel.label.clone()),
        "position" => slot.map(|slot| slot.slot.position.to_string()),
        "tab" => slot.and_then(|slot| slot.slot.tab.clone()),
        "key" => slot.and_then(|slot| slot.slot.key.clone()),
        _ => return None,
    })
}

/// The last four characters: enough to find the module in a tray, too little to answer the scan. Of what is hardly longer,
/// nothing.
fn end(text: &str) -> String {
    match text.chars().count() {
        0..=5 => String::new(),
        length => text.chars().skip(length - 4).collect(),
    }
}
