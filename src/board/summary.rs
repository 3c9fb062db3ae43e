//! A board in a few words and numbers, with what nobody has looked up named as unknown.

use serde::Serialize;

use super::{Board, Cover, Hold, Largest, Mixing};
use crate::source::counted;
use crate::text::shown;
use crate::units::Size;

/// What a board comes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    pub name: String,
    pub generation: String,
    pub sockets: usize,
    pub channels: usize,
    pub slots: usize,
    /// The most memory it takes in GiB, all slots filled with the largest module known; `None` where none is known.
    pub largest_gib: Option<Size>,
    /// Each limit and what it is; `None` where it is not known.
    pub limits: Vec<(&'static str, Option<String>)>,
    /// What nobody has looked up.
    pub unknown: Vec<&'static str>,
}

impl Board {
    /// The board in a few words and numbers.
    pub fn summary(&self) -> Summary {
        let limits = self.limits_in_words();
        Summary {
            name: self.name.clone(),
            generation: self.generation.to_string(),
            sockets: self.socket.len(),
            channels: self.socket.iter().map(|socket| socket.channel.len()).sum(),
            slots: self.slots().count(),
            largest_gib: self.capacity_with(self.limits.largest.iter().max_by_key(|largest| largest.gib)),
            unknown: limits.iter().filter(|(_, value)| value.is_none()).map(|(name, _)| *name).collect(),
            limits,
        }
    }

    /// The capacity with this module in every slot.
    fn capacity_with(&self, module: Option<&Largest>) -> Option<Size> {
        module.map(|module| self.slots().map(|_| module.gib).sum())
    }

    fn limits_in_words(&self) -> Vec<(&'static str, Option<String>)> {
        fn list<T>(items: &[T], each: impl Fn(&T) -> String) -> Option<String> {
            (!items.is_empty()).then(|| items.iter().map(each).collect::<Vec<_>>().join(", "))
        }
        let limits = &self.limits;
        let yes_no = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
        vec![
            ("looked up in", self.source.as_deref().map(|source| shown(source).to_string())),
            ("kinds", list(&limits.kinds, ToString::to_string)),
            ("largest module", list(&limits.largest, |largest| format!("{} {}", largest.kind, largest.gib))),
            ("ranks a channel", limits.ranks_per_channel.map(|ranks| ranks.to_string())),
            (
                "sizes mixed",
                limits.mixing.map(|mixing| {
                    match mixing {
                        Mixing::None => "no, all modules alike",
                        Mixing::ByPosition => "by position, all channels alike",
                        Mixing::Free => "freely",
                    }
                    .to_owned()
                }),
            ),
            ("sockets alike", limits.sockets_match.map(yes_no)),
            ("more ranks first", limits.more_ranks_first.map(yes_no)),
            ("ranks alike", limits.same_ranks.map(yes_no)),
            ("widths alike", limits.same_width.map(yes_no)),
            ("modules a socket", list(&limits.counts_per_socket, ToString::to_string)),
            ("volts", limits.volts.as_deref().map(|volts| shown(volts).to_string())),
            ("speed table", (!self.speed.is_empty()).then(|| counted(self.speed.len(), "row"))),
            ("processors", list(&self.cpu, |cpu| shown(&cpu.name).to_string())),
            ("interleaving", self.interleave.as_ref().and_then(|one| list(&one.ways, |way| format!("{way}-way")))),
            ("firmware's names", self.named_by_firmware()),
            ("way of the key", self.keyed()),
        ]
    }

    fn named_by_firmware(&self) -> Option<String> {
        let (all, named) = (self.slots().count(), self.slots().filter(|slot| !slot.slot.reports_as.is_empty()).count());
        match named {
            0 => None,
            named if named == all => Some("of every slot".to_owned()),
            named => Some(format!("of {named} of {all} slots")),
        }
    }

    fn keyed(&self) -> Option<String> {
        let mut ways: Vec<&str> = self.slots().filter_map(|slot| slot.slot.key.as_deref()).collect();
        ways.sort_unstable();
        ways.dedup();
        (!ways.is_empty()).then(|| ways.iter().map(|way| shown(way).to_string()).collect::<Vec<_>>().join(", "))
    }
}

impl Cover {
    /// The cover in one line: what it is over, what holds it, what stays attached.
    pub fn in_words(&self) -> String {
        let list = |names: &[String]| names.iter().map(|name| shown(name).to_string()).collect::<Vec<_>>().join(", ");
        let mut out = format!("{} over {}", shown(&self.name), list(&self.over));
        if let Some(fasteners) = &self.fasteners {
            let hold = match fasteners.hold {
                Hold::Captive => "captive",
                Hold::Loose => "loose",
            };
            out.push_str(&format!("; {}, {hold}", counted(fasteners.count as usize, "fastener")));
            if let Some(driver) = &fasteners.driver {
                out.push_str(&format!(", driver {}", shown(driver)));
            }
        }
        if !self.cables.is_empty() {
            out.push_str(&format!("; stays attached: {}", list(&self.cables)));
        }
        out
    }
}
