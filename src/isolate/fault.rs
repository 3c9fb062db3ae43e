//! What can be wrong, and what of it moving modules about can tell apart.

use super::layout::{Layout, NOWHERE, Piece, Place};
use super::rates::Shares;

/// How the firmware shows a failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Mode {
    /// It names the slot.
    Slot,
    /// It maps out the whole channel when anything on it fails.
    Channel,
    /// The machine does not post: it boots or it does not.
    Blind,
}

/// One root fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// The module in this place was badly seated at the start.
    Seat(Place),
    Module(Piece),
    Slot(Place),
    /// The channel's own trace.
    Channel(u16),
    /// A processor contact that serves one channel.
    Contact(u16),
    /// Processor contacts that serve a group of channels.
    Group(u16),
    /// A processor, or all its memory contacts.
    Socket(u16),
    /// A firmware setting that shut the place off.
    Setting(Place),
}

/// What a trial can end in: faults that no arrangement of a full board tells apart are one class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// By the unit the firmware reports: place, channel, or 0 for the whole board.
    Seat(u16),
    Module(Piece),
    Slot(Place),
    /// Channel, its trace, a processor contact of that channel; where the firmware drops whole channels, its slots too.
    Path(u16),
    Group(u16),
    Socket(u16),
    Setting(u16),
}

impl Fault {
    /// The class under a reporting mode.
    pub fn class(self, layout: &Layout, mode: Mode) -> Class {
        match self {
            Self::Seat(place) => Class::Seat(unit_of(layout, mode, place)),
            Self::Module(piece) => Class::Module(piece),
            Self::Slot(place) => {
                let channel = layout.channel_of(place);
                // One slot on the channel, or a firmware that drops channels whole: slot and channel look the same. So do they
                // where the machine does not post and the population rule keeps the slot filled whenever its channel is.
                let always_filled = mode == Mode::Blind && layout.fills_first(place);
                if mode == Mode::Channel || layout.places(channel).len() == 1 || always_filled {
                    Class::Path(channel)
                } else {
                    Class::Slot(place)
                }
            }
            Self::Channel(channel) | Self::Contact(channel) => Class::Path(channel),
            Self::Group(group) => Class::Group(group),
            Self::Socket(socket) => match layout.channels(socket) {
                [only] => Class::Path(*only),
                _ => Class::Socket(socket),
            },
            Self::Setting(place) => Class::Setting(unit_of(layout, mode, place)),
        }
    }

    /// The places of the board that a fault covers for good, whatever is fitted; none for faults that move or go away.
    fn ground(self, layout: &Layout, mode: Mode) -> Vec<Place> {
        let of = |channels: &[u16]| channels.iter().flat_map(|c| layout.places(*c).iter().copied()).collect();
        match self {
            // Where a slot is not told from its channel, it stands for it.
            Self::Slot(place) => match self.class(layout, mode) {
                Class::Path(channel) => of(&[channel]),
                _ => vec![place],
            },
            Self::Channel(channel) | Self::Contact(channel) => of(&[channel]),
            Self::Group(group) => of(layout.group(group)),
            Self::Socket(socket) => of(layout.channels(socket)),
            Self::Seat(_) | Self::Module(_) | Self::Setting(_) => Vec::new(),
        }
    }

    /// The one fault that covers the same places as these two: no arrangement tells it from both at once.
    pub fn together(self, other: Self, layout: &Layout, mode: Mode) -> Option<Self> {
        let (mut all, more) = (self.ground(layout, mode), other.ground(layout, mode));
        let channel = layout.channel_of(*all.first()?);
        if layout.socket_of(channel) != layout.socket_of(layout.channel_of(*more.first()?)) {
            return None;
        }
        all.extend(more);
        all.sort_unstable();
        all.dedup();
        let (group, socket) = (layout.group_of(channel).map(Self::Group), Self::Socket(layout.socket_of(channel)));
        let wider = [Some(self), Some(other), Some(Self::Channel(channel)), group, Some(socket)];
        wider.into_iter().flatten().find(|fault| fault.ground(layout, mode) == all)
    }

    /// Calls `each` with every fitted place the fault covers now; `spots` tells where each module is.
    pub fn covered(
        self,
        layout: &Layout,
        fitted: &[Piece],
        spots: &[Place],
        settings_cleared: bool,
        each: &mut impl FnMut(Place),
    ) {
        let channel = |channel: u16, each: &mut dyn FnMut(Place)| {
            for place in layout.places(channel) {
                if fitted[usize::from(*place)] != NOWHERE {
                    each(*place);
                }
            }
        };
        match self {
            Self::Seat(_) => {}
            Self::Module(piece) => {
                if let Some(place) = spots.get(usize::from(piece)).filter(|p| **p != NOWHERE) {
                    each(*place);
                }
            }
            Self::Slot(place) => {
                if fitted[usize::from(place)] != NOWHERE {
                    each(place);
                }
            }
            Self::Setting(place) => {
                if !settings_cleared && fitted[usize::from(place)] != NOWHERE {
                    each(place);
                }
            }
            Self::Channel(c) | Self::Contact(c) => channel(c, each),
            Self::Group(group) => layout.group(group).iter().for_each(|c| channel(*c, each)),
            Self::Socket(socket) => layout.channels(socket).iter().for_each(|c| channel(*c, each)),
        }
    }
}

impl Fault {
    /// Whether the fault covers any fitted place now.
    pub fn covers_any(self, layout: &Layout, fitted: &[Piece], spots: &[Place], settings_cleared: bool) -> bool {
        let at = |place: Place| fitted[usize::from(place)] != NOWHERE;
        let channel = |channel: u16| layout.places(channel).iter().any(|place| at(*place));
        match self {
            Self::Seat(_) => false,
            Self::Module(piece) => spots.get(usize::from(piece)).is_some_and(|p| *p != NOWHERE),
            Self::Slot(place) => at(place),
            Self::Setting(place) => !settings_cleared && at(place),
            Self::Channel(c) | Self::Contact(c) => channel(c),
            Self::Group(group) => layout.group(group).iter().any(|c| channel(*c)),
            Self::Socket(socket) => layout.channels(socket).iter().any(|c| channel(*c)),
        }
    }
}

/// The unit a place is reported as.
pub fn unit_of(layout: &Layout, mode: Mode, place: Place) -> u16 {
    match mode {
        Mode::Slot => place,
        Mode::Channel => layout.channel_of(place),
        Mode::Blind => 0,
    }
}

/// Every root fault of a board whose places hold `fitted`, with its probability before anything was seen.
pub fn all_faults(layout: &Layout, fitted: &[Piece], shares: &Shares) -> Vec<(Fault, f64)> {
    let occupied: Vec<Place> = (0..layout.len() as u16).filter(|p| fitted[usize::from(*p)] != NOWHERE).collect();
    let live: Vec<u16> = (0..layout.channel_count() as u16)
        .filter(|c| layout.places(*c).iter().any(|p| fitted[usize::from(*p)] != NOWHERE))
        .collect();
    let mut all = Vec::new();
    let mut add = |share: f64, faults: Vec<Fault>| {
        if share > 0.0 && !faults.is_empty() {
            let each = share / faults.len() as f64;
            all.extend(faults.into_iter().map(|fault| (fault, each)));
        }
    };
    add(shares.seating, occupied.iter().map(|p| Fault::Seat(*p)).collect());
    add(shares.module, occupied.iter().map(|p| Fault::Module(fitted[usize::from(*p)])).collect());
    add(shares.slot, occupied.iter().map(|p| Fault::Slot(*p)).collect());
    add(shares.setting, occupied.iter().map(|p| Fault::Setting(*p)).collect());
    add(shares.channel, live.iter().map(|c| Fault::Channel(*c)).collect());
    let groups: Vec<Fault> = (0..layout.group_count() as u16)
        .filter(|g| layout.group(*g).iter().any(|c| live.contains(c)))
        .map(Fault::Group)
        .collect();
    let mut sockets: Vec<u16> = live.iter().map(|c| layout.socket_of(*c)).collect();
    sockets.dedup();
    // Without groups their share goes to the whole socket.
    let (whole, part) = if groups.is_empty() {
        (shares.socket_all + shares.socket_group, 0.0)
    } else {
        (shares.socket_all, shares.socket_group)
    };
    add(shares.socket * whole, sockets.into_iter().map(Fault::Socket).collect());
    add(shares.socket * part, groups);
    add(shares.socket * shares.socket_channel, live.into_iter().map(Fault::Contact).collect());
    let total: f64 = all.iter().map(|(_, share)| share).sum();
    if total > 0.0 {
        all.iter_mut().for_each(|(_, share)| *share /= total);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_those_of_the_board() {
        let layout = Layout::grid(2, 8, 2);
        let fitted: Vec<u16> = (0..32).collect();
        let all = all_faults(&layout, &fitted, &Shares::install());
        // 32 seats, 32 modules, 32 slots, 16 channels, 16 contacts, 8 pairs, 2 sockets.
        assert_eq!(all.len(), 138);
        assert!((all.iter().map(|f| f.1).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn two_faults_that_cover_what_one_covers_are_that_one() {
        let layout = Layout::grid(2, 4, 2);
        let together = |a: Fault, b: Fault| a.together(b, &layout, Mode::Slot);
        assert_eq!(together(Fault::Channel(0), Fault::Contact(1)), Some(Fault::Group(0)));
        assert_eq!(together(Fault::Group(0), Fault::Group(1)), Some(Fault::Socket(0)));
        assert_eq!(together(Fault::Channel(5), Fault::Socket(1)), Some(Fault::Socket(1)));
        assert_eq!(together(Fault::Slot(2), Fault::Slot(3)), Some(Fault::Channel(1)));
        assert_eq!(together(Fault::Slot(2), Fault::Channel(1)), Some(Fault::Channel(1)));
        assert_eq!(Fault::Slot(0).together(Fault::Slot(3), &layout, Mode::Channel), Some(Fault::Group(0)));
        // These can be told apart, or part of them moves or goes away.
        assert_eq!(together(Fault::Channel(0), Fault::Channel(2)), None);
        assert_eq!(together(Fault::Slot(2), Fault::Channel(0)), None);
        assert_eq!(together(Fault::Group(1), Fault::Group(2)), None);
        assert_eq!(together(Fault::Module(0), Fault::Channel(0)), None);
        assert_eq!(together(Fault::Channel(0), Fault::Seat(0)), None);
    }

    #[test]
    fn a_channel_of_one_slot_cannot_be_told_from_its_slot() {
        let layout = Layout::grid(2, 12, 1);
        assert_eq!(Fault::Slot(3).class(&layout, Mode::Slot), Fault::Channel(3).class(&layout, Mode::Slot));
        let deeper = Layout::grid(2, 12, 2);
        assert_ne!(Fault::Slot(6).class(&deeper, Mode::Slot), Fault::Channel(3).class(&deeper, Mode::Slot));
        assert_eq!(Fault::Slot(6).class(&deeper, Mode::Channel), Fault::Channel(3).class(&deeper, Mode::Channel));
    }
}
