//! What a schema cannot say about a board.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{BOARD_FORMAT, Board, ReportsAs, SlotRef};
use crate::source::{Checked, Path, either, way_out};
use crate::text::shown;

/// The most sockets a board may have; larger is a mistake in the file, not a machine.
pub const MOST_SOCKETS: usize = 64;
/// The most slots a board may have.
pub const MOST_SLOTS: usize = 1024;
/// The most columns and rows of the drawing.
pub const MOST_PLACES: u16 = 64;

type Report<'r> = dyn FnMut(Path, String, Option<String>) + 'r;

impl Checked for Board {
    const FORMAT: &'static str = BOARD_FORMAT;

    fn check(&self, report: &mut Report<'_>) {
        if self.format != BOARD_FORMAT {
            report(root("format"), format!("`{}` is not `{BOARD_FORMAT}`", shown(&self.format)), None);
        }
        if let Some((key, what)) = self.absurd() {
            // Nothing below means anything for such a file, and some of it takes its time.
            report(root(key), what, None);
            return;
        }
        self.check_name(report);
        self.check_labels(report);
        self.check_positions(report);
        self.check_reports_as(report);
        self.check_places(report);
        self.check_covers(report);
        self.check_limits(report);
        self.check_speeds(report);
        self.check_processors(report);
        self.check_interleave(report);
    }
}

fn root(key: &str) -> Path {
    Path::default().key(key)
}

/// Where a slot stands in the file.
pub(crate) fn slot_path(board: &Board, slot: SlotRef<'_>) -> Path {
    let channel = root("socket").index(slot.socket_index).key("channel").index(slot.channel_index);
    let place = board
        .socket
        .get(slot.socket_index)
        .and_then(|socket| socket.channel.get(slot.channel_index))
        .and_then(|channel| channel.slot.iter().position(|other| std::ptr::eq(other, slot.slot)));
    channel.key("slot").index(place.unwrap_or_default())
}

/// Why a name cannot be used to name a place; `None` when it can. Names are compared, spoken and scanned.
pub(crate) fn unusable(name: &str) -> Option<&'static str> {
    if name.trim().is_empty() {
        Some("a name is wanted, this one is empty")
    } else if name.trim() != name {
        Some("a name does not begin or end with a space")
    } else if !name.bytes().all(|byte| (b' '..=b'~').contains(&byte)) {
        Some("a name that is compared and scanned has printable ASCII characters only")
    } else if name.len() > 32 {
        Some("a name has 32 characters at most")
    } else {
        None
    }
}

/// Reports names that cannot be used and names that stand twice, case aside: two names that differ by case alone are
/// one name when spoken.
pub(crate) fn check_names<'a>(what: &str, names: impl IntoIterator<Item = (Path, &'a str)>, report: &mut Report<'_>) {
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for (path, name) in names {
        if let Some(why) = unusable(name) {
            report(path, format!("{what} `{}`: {why}", shown(name)), None);
        } else if let Some(first) = seen.insert(name.to_ascii_lowercase(), name) {
            let text = if first == name {
                format!("{what} `{}` stands twice", shown(name))
            } else {
                format!("{what} `{}` differs from `{}` by case alone", shown(name), shown(first))
            };
            report(path, text, None);
        }
    }
}

impl Board {
    /// A board without a socket, a socket without a channel, a channel without a slot, or far too many of them.
    fn absurd(&self) -> Option<(&'static str, String)> {
        let slots = self.slots().count();
        if self.socket.is_empty() {
            return Some(("socket", "a board has at least one socket".to_owned()));
        }
        let channels: usize = self.socket.iter().map(|socket| socket.channel.len()).sum();
        // Some checks compare each with each.
        let limits = &self.limits;
        let names = self.slots().map(|slot| slot.slot.reports_as.len()).max().unwrap_or_default();
        let over = self.cover.iter().map(|cover| cover.over.len()).sum();
        let lists = [
            ("socket", "sockets", self.socket.len(), MOST_SOCKETS),
            ("socket", "channels", channels, MOST_SLOTS),
            ("socket", "slots", slots, MOST_SLOTS),
            ("socket", "locators of a slot", names, 16),
            ("cover", "covers", self.cover.len(), 64),
            ("cover", "places under covers", over, 4 * MOST_SLOTS),
            ("speed", "speed rows", self.speed.len(), MOST_SLOTS),
            ("cpu", "processors", self.cpu.len(), MOST_SLOTS),
            ("limits", "kinds", limits.kinds.len(), 64),
            ("limits", "largest modules", limits.largest.len(), 64),
            ("limits", "module counts", limits.counts_per_socket.len(), MOST_SLOTS),
        ];
        let (key, what, length, most) = lists.into_iter().find(|(_, _, length, most)| length > most)?;
        Some((key, format!("{length} {what}; {most} at most")))
    }

    fn check_name(&self, report: &mut Report<'_>) {
        if let Some(why) = unusable(&self.name) {
            report(root("name"), why.to_owned(), None);
        }
        if let Some(enclosure) = &self.enclosure {
            let path = root("enclosure").key("bays");
            if enclosure.bays.is_empty() {
                report(path.clone(), "an enclosure has at least one bay".to_owned(), None);
            }
            let bays = enclosure.bays.iter().enumerate().map(|(n, bay)| (path.index(n), bay.as_str()));
            check_names("bay", bays, report);
        }
    }

    fn check_labels(&self, report: &mut Report<'_>) {
        let sockets = root("socket");
        let labels = self.socket.iter().enumerate();
        check_names("socket", labels.map(|(s, socket)| (sockets.index(s).key("label"), socket.label.as_str())), report);
        for (s, socket) in self.socket.iter().enumerate() {
            let path = sockets.index(s).key("channel");
            if socket.channel.is_empty() {
                let what = format!("socket `{}` has no channel", shown(&socket.label));
                report(path.clone(), what, None);
            }
            let labels = socket.channel.iter().enumerate();
            check_names("channel", labels.map(|(c, one)| (path.index(c).key("label"), one.label.as_str())), report);
            for (c, channel) in socket.channel.iter().enumerate().filter(|(_, channel)| channel.slot.is_empty()) {
                let what = format!("channel `{}/{}` has no slot", shown(&socket.label), shown(&channel.label));
                report(path.index(c).key("slot"), what, None);
            }
        }
        let slots = self.slots().map(|slot| (slot_path(self, slot).key("label"), slot.slot.label.as_str()));
        check_names("slot", slots, report);
        for slot in self.slots() {
            let label = slot.slot.label.as_str();
            let taken = label == "all" || self.socket.iter().any(|socket| socket.label == label);
            if taken || label.contains('/') {
                let what =
                    format!("slot `{}` cannot be told from a socket, a channel or `all` in a cover", shown(label));
                report(slot_path(self, slot).key("label"), what, None);
            }
        }
    }

    fn check_positions(&self, report: &mut Report<'_>) {
        for (s, socket) in self.socket.iter().enumerate() {
            for (c, channel) in socket.channel.iter().enumerate() {
                let mut seen = BTreeSet::new();
                let most = channel.slot.len();
                for (n, slot) in channel.slot.iter().enumerate() {
                    let path = root("socket").index(s).key("channel").index(c).key("slot").index(n).key("position");
                    let at = format!("channel `{}/{}`", shown(&socket.label), shown(&channel.label));
                    if usize::from(slot.position) < 1 || usize::from(slot.position) > most {
                        let help = "1 is filled first".to_owned();
                        report(path, format!("{at} has positions 1 to {most}, not {}", slot.position), Some(help));
                    } else if !seen.insert(slot.position) {
                        report(path, format!("{at} has position {} twice", slot.position), None);
                    }
                }
            }
        }
    }

    /// A locator names one slot. Slots may share their names only when the firmware tells none apart: then every slot
    /// shares all of its names with the same number of others, and the order of the handles decides between them.
    fn check_reports_as(&self, report: &mut Report<'_>) {
        let mut claims: BTreeMap<(&str, Option<&str>), Vec<SlotRef<'_>>> = BTreeMap::new();
        for slot in self.slots() {
            let path = slot_path(self, slot).key("reports_as");
            for (n, name) in slot.slot.reports_as.iter().enumerate() {
                if name.locator().is_empty() {
                    report(path.index(n), "an empty locator names no slot".to_owned(), None);
                } else if slot.slot.reports_as.iter().take(n).any(|before| before == name) {
                    report(path.index(n), format!("{} stands twice here", in_words(name)), None);
                } else {
                    claims.entry((name.locator(), name.bank())).or_default().push(slot);
                }
            }
        }
        let mut sharers: HashMap<&[ReportsAs], usize> = HashMap::new();
        for slot in self.slots() {
            *sharers.entry(&slot.slot.reports_as).or_default() += 1;
        }
        let alike = sharers.values().collect::<BTreeSet<_>>().len() == 1;
        for ((locator, bank), slots) in &claims {
            let [first, others @ ..] = slots.as_slice() else { continue };
            for other in others {
                if alike && other.slot.reports_as == first.slot.reports_as {
                    continue;
                }
                let name = bank.map_or_else(
                    || format!("`{}`", shown(locator)),
                    |bank| format!("`{}` with bank `{}`", shown(locator), shown(bank)),
                );
                let what = format!("{name} is slot `{}` already", first.slot.label);
                let help = "name the bank too where locators repeat; slots share names only when every slot of the \
                            board shares all of its names with equally many others";
                report(slot_path(self, *other).key("reports_as"), what, Some(help.to_owned()));
            }
            if bank.is_none() {
                let banked = claims.iter().filter(|((other, bank), _)| other == locator && bank.is_some());
                for slot in banked.flat_map(|(_, slots)| slots).filter(|slot| slot.slot.label != first.slot.label) {
                    let what =
                        format!("`{}` alone, of slot `{}`, fits this slot too", shown(locator), first.slot.label);
                    let help = format!("name the bank at slot `{}` as well", first.slot.label);
                    report(slot_path(self, *slot).key("reports_as"), what, Some(help));
                }
            }
        }
    }

    fn check_places(&self, report: &mut Report<'_>) {
        let drawn = self.slots().filter(|slot| slot.slot.at.is_some()).count();
        let mut seen: BTreeMap<[u16; 2], &str> = BTreeMap::new();
        for slot in self.slots() {
            let path = slot_path(self, slot);
            match slot.slot.at {
                None if drawn > 0 => {
                    let what = format!("slot `{}` has no place in the drawing; others have", slot.slot.label);
                    report(path, what, Some("give `at` for every slot or for none".to_owned()));
                }
                None => {}
                Some(at) if at.iter().any(|place| *place >= MOST_PLACES) => {
                    let what = format!("column and row are 0 to {}", MOST_PLACES - 1);
                    report(path.key("at"), what, None);
                }
                Some(at) => {
                    if let Some(first) = seen.insert(at, slot.slot.label.as_str()) {
                        let what = format!("slot `{}` is drawn at this place already", shown(first));
                        report(path.key("at"), what, None);
                    }
                }
            }
        }
    }

    fn check_covers(&self, report: &mut Report<'_>) {
        let path = root("cover");
        let known: BTreeSet<String> = self.slots().flat_map(cover_names).collect();
        let mut hints = 0;
        let names = self.cover.iter().enumerate();
        check_names("cover", names.map(|(n, cover)| (path.index(n).key("name"), cover.name.as_str())), report);
        for (n, cover) in self.cover.iter().enumerate() {
            let over = path.index(n).key("over");
            if cover.over.is_empty() {
                let help = Some("name sockets, channels (`socket/channel`), slots, or `all`".to_owned());
                report(over.clone(), "it covers nothing".to_owned(), help);
            }
            for (index, name) in cover.over.iter().enumerate() {
                if name == "all" || known.contains(name) {
                    continue;
                }
                hints += 1;
                let way_out = || way_out(name, known.iter().map(String::as_str));
                let what = format!("no socket, channel or slot is called `{}`", shown(name));
                report(over.index(index), what, (hints <= 20).then(way_out).flatten());
            }
            if let Some(fasteners) = &cover.fasteners {
                let count = path.index(n).key("fasteners").key("count");
                match fasteners.count {
                    0 => report(count, "no fasteners".to_owned(), Some("leave `fasteners` out then".to_owned())),
                    1..=99 => {}
                    more => report(count, format!("{more} fasteners; 99 at most are counted"), None),
                }
            }
        }
    }

    fn check_limits(&self, report: &mut Report<'_>) {
        let path = root("limits");
        let limits = &self.limits;
        if limits.kinds.is_empty() {
            report(path.key("kinds"), "no kind of module is allowed".to_owned(), None);
        }
        for (n, kind) in limits.kinds.iter().enumerate() {
            if limits.kinds.iter().take(n).any(|before| before == kind) {
                report(path.key("kinds").index(n), format!("{kind} stands twice"), None);
            }
        }
        for (n, largest) in limits.largest.iter().enumerate() {
            let at = path.key("largest").index(n);
            self.check_kind(largest.kind, at.key("kind"), report);
            if largest.gib.mib() == 0 {
                report(at.key("gib"), "a module of 0 GiB".to_owned(), Some(UNKNOWN.to_owned()));
            }
            if limits.largest.iter().take(n).any(|before| before.kind == largest.kind) {
                report(at.key("kind"), format!("the largest {} stands twice", largest.kind), None);
            }
        }
        if limits.ranks_per_channel == Some(0) {
            report(path.key("ranks_per_channel"), "0 ranks".to_owned(), Some(UNKNOWN.to_owned()));
        }
        let most = self.slots_per_socket();
        for (n, count) in limits.counts_per_socket.iter().enumerate() {
            let at = path.key("counts_per_socket").index(n);
            // 0 says that a processor may go without.
            if *count as usize > most {
                report(at, format!("a socket holds 0 to {most} modules, not {count}"), None);
            } else if limits.counts_per_socket.iter().take(n).any(|before| before == count) {
                report(at, format!("{count} stands twice"), None);
            }
        }
        if let Some(volts) = &limits.volts {
            let digits = volts.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
            if !digits || volts.parse::<f64>().is_err() || volts.len() > 6 {
                let help = Some("write it like `1.2`".to_owned());
                report(path.key("volts"), format!("`{}` is no voltage in volts", shown(volts)), help);
            }
        }
    }

    fn check_kind(&self, kind: crate::module::Kind, path: Path, report: &mut Report<'_>) {
        if !self.limits.kinds.contains(&kind) {
            let kinds: Vec<&str> = self.limits.kinds.iter().map(|kind| kind.name()).collect();
            let what = format!("{kind} is not among the kinds of the limits");
            report(path, what, Some(format!("the limits allow {}", either(&kinds))));
        }
    }

    fn check_speeds(&self, report: &mut Report<'_>) {
        let most = self.socket.iter().flat_map(|socket| &socket.channel).map(|channel| channel.slot.len()).max();
        let most = most.unwrap_or_default();
        for (n, row) in self.speed.iter().enumerate() {
            let path = root("speed").index(n);
            self.check_kind(row.kind, path.key("kind"), report);
            if row.per_channel == 0 || usize::from(row.per_channel) > most {
                let what = format!("a channel holds 1 to {most} modules, not {}", row.per_channel);
                report(path.key("per_channel"), what, None);
            }
            if row.ranks == Some(0) {
                let help = Some("leave `ranks` out when the row holds for any".to_owned());
                report(path.key("ranks"), "0 ranks".to_owned(), help);
            }
            check_rate(row.mts, path.key("mts"), report);
            let before = self.speed.iter().take(n).find(|before| {
                (before.kind, before.ranks, before.per_channel) == (row.kind, row.ranks, row.per_channel)
            });
            if let Some(before) = before {
                let what = if before.mts == row.mts {
                    "this row stands twice".to_owned()
                } else {
                    format!("{} here, {} in a row before for the same modules", row.mts, before.mts)
                };
                report(path, what, None);
            }
        }
    }

    fn check_processors(&self, report: &mut Report<'_>) {
        let path = root("cpu");
        let names = self.cpu.iter().enumerate();
        check_names("processor", names.map(|(n, cpu)| (path.index(n).key("name"), cpu.name.as_str())), report);
        for (n, cpu) in self.cpu.iter().enumerate() {
            if let Some(mts) = cpu.mts {
                check_rate(mts, path.index(n).key("mts"), report);
            }
            if cpu.gib.is_some_and(|gib| gib.mib() == 0) {
                report(path.index(n).key("gib"), "0 GiB".to_owned(), Some(UNKNOWN.to_owned()));
            }
        }
    }

    fn check_interleave(&self, report: &mut Report<'_>) {
        let Some(interleave) = &self.interleave else { return };
        let path = root("interleave").key("ways");
        let most = self.socket.iter().map(|socket| socket.channel.len()).max().unwrap_or_default();
        if !interleave.ways.contains(&1) {
            let help = "a channel that is left over is used alone".to_owned();
            report(path.clone(), "1 is missing".to_owned(), Some(help));
        }
        for (n, way) in interleave.ways.iter().enumerate() {
            if *way == 0 || usize::from(*way) > most {
                report(path.index(n), format!("a socket has 1 to {most} channels, not {way}"), None);
            } else if interleave.ways.iter().take(n).any(|before| before == way) {
                report(path.index(n), format!("{way} stands twice"), None);
            }
        }
    }

    /// The most slots a socket of this board has.
    fn slots_per_socket(&self) -> usize {
        let slots = |socket: &super::Socket| socket.channel.iter().map(|channel| channel.slot.len()).sum();
        self.socket.iter().map(slots).max().unwrap_or_default()
    }
}

/// The way out for a zero that was meant as "not known".
const UNKNOWN: &str = "leave it out when it is not known";

/// The names a cover may use for a slot.
fn cover_names(slot: SlotRef<'_>) -> Vec<String> {
    let channel = format!("{}/{}", slot.socket.label, slot.channel.label);
    vec![slot.socket.label.clone(), channel, slot.slot.label.as_str().to_owned()]
}

fn in_words(name: &ReportsAs) -> String {
    match name.bank() {
        None => format!("`{}`", shown(name.locator())),
        Some(bank) => format!("`{}` with bank `{}`", shown(name.locator()), shown(bank)),
    }
}

/// Rates of memory sold so far lie between 66 (SDRAM) and some 10 000 MT/s; a rate in MHz or GT/s does not.
fn check_rate(mts: crate::units::Mts, path: Path, report: &mut Report<'_>) {
    if !(66..=20_000).contains(&mts.0) {
        report(path, format!("{mts} is no transfer rate"), Some("write it in MT/s, as in `3200`".to_owned()));
    }
}
