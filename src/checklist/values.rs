//! The values that the names of a template stand for, on one card.

use super::template::{Class, Values};
use super::{Checklist, Each, Limit, When};
use crate::board::{Cover, Hold, SlotRef};
use crate::module::Module;
use crate::order::Unit;
use crate::plan::{Action, Plan};

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

/// All values of one repetition.
pub(crate) fn values(item: &Item<'_>, checklist: &Checklist, plan: &Plan, unit: &Unit) -> Values {
    let mut values = Values::new();
    let mut words = |name: &str, value: Option<String>| {
        values.insert(name.to_owned(), (Class::Words, value.filter(|value| !value.trim().is_empty())));
    };
    let board = &plan.board;
    words("plan.name", Some(plan.name.clone()));
    words("plan.capacity", Some(plan.capacity().to_string()));
    words("plan.mts", plan.mts.map(|mts| mts.to_string()));
    words("order.name", Some(plan.order.name.clone()));
    words("unit.chassis", Some(unit.chassis.clone()));
    words("unit.enclosure", unit.enclosure.clone());
    words("unit.bay", unit.bay.clone());
    words("board.name", Some(board.name.clone()));
    words("board.source", board.source.clone());
    words("board.enclosure", board.enclosure.as_ref().map(|enclosure| enclosure.name.clone()));
    words("board.release", board.enclosure.as_ref().and_then(|enclosure| enclosure.release.clone()));
    for limit in &checklist.limit {
        words(&format!("limit.{}", limit.name), Some(limit_words(limit)));
    }
    for (name, slot) in [("slot", item.slot), ("from", item.from), ("prev", item.prev)] {
        words(&format!("{name}.label"), slot.map(|slot| slot.slot.label.0.clone()));
        words(&format!("{name}.socket"), slot.map(|slot| slot.socket.label.clone()));
        words(&format!("{name}.channel"), slot.map(|slot| slot.channel.label.clone()));
        words(&format!("{name}.position"), slot.map(|slot| slot.slot.position.to_string()));
        words(&format!("{name}.tab"), slot.and_then(|slot| slot.slot.tab.clone()));
        words(&format!("{name}.key"), slot.and_then(|slot| slot.slot.key.clone()));
    }
    words("goes.label", item.goes.map(|slot| slot.slot.label.0.clone()));
    let out_of = item.from.map(|slot| slot.slot.label.0.clone());
    words("hand.label", out_of.clone().filter(|_| !item.tray));
    words("tray.label", out_of.filter(|_| item.tray));
    if let Some(module) = item.module {
        words("module.spec", Some(module.spec.to_string()));
        words("module.gib", Some(module.spec.gib.gib_text()));
        words("module.kind", module.spec.kind.map(|kind| kind.to_string()));
        words("module.part", module.identity.part.clone());
        words("module.part_end", module.identity.part.as_deref().map(end));
        words("module.serial_end", module.identity.serial.as_deref().map(end));
        words("module.lot", item.lot.map(str::to_owned));
        words("module.to", item.to.map(str::to_owned));
    }
    if let Some(cover) = item.cover {
        words("cover.name", Some(cover.name.clone()));
        let driver = cover.fasteners.as_ref().and_then(|fasteners| fasteners.driver.clone());
        words("cover.fasteners.driver", driver);
        words("cover.cables", Some(cover.cables.join(", ")));
        words("cover.park", cover.park.clone());
        words("cover.mind", cover.mind.clone());
    }
    let mut number = |name: &str, value: usize| {
        values.insert(name.to_owned(), (Class::Number, Some(value.to_string())));
    };
    let count = |action| plan.slot.iter().filter(|slot| slot.action == action).count();
    number("plan.inserts", count(Action::Insert));
    number("plan.moves", count(Action::Move));
    number("plan.removals", plan.remove.len());
    number("plan.modules", plan.slot.len());
    if let Some(cover) = item.cover {
        number("cover.fasteners", cover.fasteners.as_ref().map_or(0, |fasteners| fasteners.count as usize));
        number("cover.cables.count", cover.cables.len());
    }
    values
}

/// The last four characters: enough to find the module in a tray, too little to answer the scan. Of what is hardly longer,
/// nothing.
fn end(text: &str) -> String {
    match text.chars().count() {
        0..=5 => String::new(),
        length => text.chars().skip(length - 4).collect(),
    }
}
