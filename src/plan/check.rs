//! What a schema cannot say about a plan: whether it fits its board, its order and itself.

use std::collections::BTreeMap;

use super::{Action, PLAN_FORMAT, Plan, same_volts};
use crate::board::{Board, MOST_SLOTS, SlotLabel};
use crate::module::Module;
use crate::order::{Fitted, Order, check_modules, check_volts};
use crate::source::{Checked, Path, check_below, either, way_out};
use crate::text::shown;

type Report<'r> = dyn FnMut(Path, String, Option<String>) + 'r;

impl Checked for Plan {
    const FORMAT: &'static str = PLAN_FORMAT;

    fn check(&self, report: &mut Report<'_>) {
        self.check_to_judge(report);
        for (n, one) in self.slot.iter().enumerate() {
            self.check_allowed(&one.module, one.action, &Path::default().key("slot").index(n), report);
        }
    }
}

impl Plan {
    /// All but what the population rules say of a module by itself: for who judges the plan by those rules, which name the
    /// slot and the source, and do not stop at the first.
    pub fn check_to_judge(&self, report: &mut Report<'_>) {
        check_below(&self.board, "board", report);
        check_below(&self.order, "order", report);
        self.check_fit(report);
    }

    /// The rules of the plan itself; board and order have their own.
    fn check_fit(&self, report: &mut Report<'_>) {
        let root = Path::default();
        if self.format != PLAN_FORMAT {
            report(root.key("format"), format!("`{}` is not `{PLAN_FORMAT}`", shown(&self.format)), None);
        }
        if self.name.trim().is_empty() {
            report(root.key("name"), "a plan has a name".to_owned(), None);
        }
        if let Some(wanted) = &self.board_sha256 {
            let found = self.board.sha256();
            if !wanted.eq_ignore_ascii_case(&found) {
                let what = format!(
                    "this plan was made for another board: it names {}, board `{}` is {}",
                    short(wanted),
                    shown(&self.board.name),
                    short(&found)
                );
                let help = "make the plan anew for this board, or take board_sha256 out once you have compared the two";
                report(root.key("board_sha256"), what, Some(help.to_owned()));
            }
        }
        if self.slot.is_empty() && self.remove.is_empty() {
            report(root.key("slot"), "the plan holds no module and removes none".to_owned(), None);
        }
        // Some of what follows compares each with each.
        let lists = [self.slot.len(), self.remove.len(), self.order.fitted.len()];
        if let Some(length) = lists.into_iter().find(|length| *length > MOST_SLOTS) {
            report(root, format!("a list of {length}; a board has {MOST_SLOTS} slots at most"), None);
            return;
        }
        self.check_slots(report);
        self.check_moves(report);
        self.check_order(report);
        let modules = self.slot.iter().enumerate().map(|(n, one)| (root.key("slot").index(n), &one.module));
        let removed = self.remove.iter().enumerate().map(|(n, one)| (root.key("remove").index(n), &one.module));
        check_modules(modules.chain(removed), &mut BTreeMap::new(), report);
        for (n, one) in self.remove.iter().enumerate() {
            check_volts(&root.key("remove").index(n), one.volts.as_deref(), report);
        }
        for (n, one) in self.slot.iter().enumerate() {
            check_volts(&root.key("slot").index(n), one.volts.as_deref(), report);
        }
    }

    fn check_slots(&self, report: &mut Report<'_>) {
        let slots = Path::default().key("slot");
        let removals = Path::default().key("remove");
        let mut seen: BTreeMap<&str, Path> = BTreeMap::new();
        for (n, one) in self.slot.iter().enumerate() {
            self.check_label(&one.slot, slots.index(n).key("slot"), &mut seen, report);
        }
        let mut seen = BTreeMap::new();
        for (n, one) in self.remove.iter().enumerate() {
            self.check_label(&one.slot, removals.index(n).key("slot"), &mut seen, report);
        }
    }

    fn check_label<'a>(
        &self,
        label: &'a SlotLabel,
        path: Path,
        seen: &mut BTreeMap<&'a str, Path>,
        report: &mut Report<'_>,
    ) {
        if !known(&self.board, label, &path, report) {
            return;
        }
        match seen.get(label.as_str()) {
            Some(first) => report(path, format!("slot `{label}` stands twice, first at {first}"), None),
            None => {
                seen.insert(label.as_str(), path);
            }
        }
    }

    fn check_moves(&self, report: &mut Report<'_>) {
        let mut sources: BTreeMap<&str, &SlotLabel> = BTreeMap::new();
        for (n, one) in self.slot.iter().enumerate() {
            let at = Path::default().key("slot").index(n);
            let from = match (&one.from, one.action) {
                (None, Action::Move) => {
                    let help = Some("say which slot the module comes from".to_owned());
                    report(at.key("from"), format!("the move to `{}` has no `from`", one.slot), help);
                    continue;
                }
                (Some(_), Action::Keep | Action::Insert) => {
                    let help = Some("`from` belongs to do = \"move\"".to_owned());
                    report(at.key("from"), "`from` without a move".to_owned(), help);
                    continue;
                }
                (None, Action::Keep | Action::Insert) => continue,
                (Some(from), Action::Move) => from,
            };
            let at = at.key("from");
            if !known(&self.board, from, &at, report) {
                continue;
            }
            if *from == one.slot {
                let help = Some("a module that stays has do = \"keep\"".to_owned());
                report(at, format!("a move from `{from}` to itself"), help);
            } else if self.slot.iter().any(|other| other.slot == *from && other.action == Action::Keep) {
                report(at, format!("the module in `{from}` is kept there"), None);
            } else if self.remove.iter().any(|removal| removal.slot == *from) {
                report(at, format!("the module in `{from}` is removed"), None);
            } else if let Some(first) = sources.insert(from.as_str(), &one.slot) {
                report(at, format!("the module in `{from}` is moved to `{first}` already"), None);
            }
        }
    }

    /// What becomes of each fitted module. An order that lists none says nothing about what is fitted.
    fn check_order(&self, report: &mut Report<'_>) {
        order_on(&self.board, &self.order, &Path::default().key("order"), Bays::Needed, report);
        if self.order.fitted.is_empty() {
            return;
        }
        for (n, fitted) in self.order.fitted.iter().enumerate() {
            let path = Path::default().key("order").key("fitted").index(n).key("slot");
            if self.board.slot(fitted.slot.as_str()).is_none() {
                continue;
            }
            let kept = self.slot.iter().any(|one| one.slot == fitted.slot && one.action == Action::Keep);
            let moved = self.slot.iter().any(|one| one.from.as_ref() == Some(&fitted.slot));
            let removed = self.remove.iter().any(|one| one.slot == fitted.slot);
            if fitted.stays && !kept {
                report(path, format!("the module in `{}` must stay, and the plan does not keep it", fitted.slot), None);
            } else if !(kept || moved || removed) {
                let help = Some("keep, move or remove it".to_owned());
                report(path, format!("the plan says nothing of the module fitted in `{}`", fitted.slot), help);
            } else if kept && removed {
                report(path, format!("the module in `{}` is both kept and removed", fitted.slot), None);
            }
        }
        for (n, one) in self.slot.iter().enumerate() {
            let at = Path::default().key("slot").index(n);
            let (label, path) = match one.action {
                Action::Keep => (&one.slot, at.key("slot")),
                Action::Move => match &one.from {
                    Some(from) => (from, at.key("from")),
                    None => continue,
                },
                Action::Insert => continue,
            };
            self.check_fitted(label, &one.module, one.volts.as_deref(), path, report);
        }
        for (n, one) in self.remove.iter().enumerate() {
            let path = Path::default().key("remove").index(n).key("slot");
            self.check_fitted(&one.slot, &one.module, one.volts.as_deref(), path, report);
        }
    }

    /// Whether the order has this very module in this slot.
    fn check_fitted(
        &self,
        label: &SlotLabel,
        module: &Module,
        volts: Option<&str>,
        path: Path,
        report: &mut Report<'_>,
    ) {
        let Some(Fitted { module: fitted, volts: before, .. }) =
            self.order.fitted.iter().find(|fitted| fitted.slot == *label)
        else {
            let help = Some("what is fitted is listed in the order".to_owned());
            report(path, format!("no module is fitted in `{label}`"), help);
            return;
        };
        let differs = fitted.spec.gib != module.spec.gib
            || differ(fitted.spec.kind, module.spec.kind)
            || differ(fitted.spec.ranks, module.spec.ranks)
            || differ(fitted.identity.part.as_deref(), module.identity.part.as_deref())
            || differ(fitted.identity.serial.as_deref(), module.identity.serial.as_deref())
            || matches!((before.as_deref(), volts), (Some(a), Some(b)) if !same_volts(a, b));
        if differs {
            let mut words = in_words(fitted);
            if let Some(volts) = before {
                words.push_str(&format!(", {} V", shown(volts)));
            }
            report(path, format!("the order has another module in `{label}`: {words}"), None);
        }
    }

    /// Whether the board takes this kind of module at all. A module that is kept is what it is, and is checked as well.
    fn check_allowed(&self, module: &Module, action: Action, path: &Path, report: &mut Report<'_>) {
        let board = &self.board;
        let help = (action == Action::Keep).then(|| "it is fitted already: have it removed".to_owned());
        if let Some(generation) = module.spec.generation.filter(|generation| *generation != board.generation) {
            let what = format!("{generation} does not fit: the slots take {}", board.generation);
            report(path.key("generation"), what, help.clone());
        }
        let Some(kind) = module.spec.kind else { return };
        if !board.limits.kinds.contains(&kind) {
            let kinds: Vec<&str> = board.limits.kinds.iter().map(|kind| kind.name()).collect();
            let allowed = format!("the board takes {}", either(&kinds));
            report(path.key("kind"), format!("{kind} is not allowed on this board"), help.or(Some(allowed)));
        } else if let Some(largest) =
            board.limits.largest.iter().find(|largest| largest.kind == kind && largest.gib < module.spec.gib)
        {
            let what = format!("{} is larger than the largest {kind} of this board, {}", module.spec.gib, largest.gib);
            report(path.key("gib"), what, help);
        }
    }
}

/// Whether the board has this slot; reports it when not.
fn known(board: &Board, label: &SlotLabel, path: &Path, report: &mut Report<'_>) -> bool {
    let known = board.slot(label.as_str()).is_some();
    if !known {
        let what = format!("board `{}` has no slot `{label}`", shown(&board.name));
        let help = way_out(label.as_str(), board.slots().map(|slot| slot.slot.label.as_str()));
        report(path.clone(), what, help.or_else(|| Some("write the label as the board file has it".to_owned())));
    }
    known
}

/// Whether the bay of a node has to be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bays {
    /// A plan is worked through at the machine, and the right node has to be opened.
    Needed,
    /// What an answer on screen is about need not stand anywhere yet.
    Open,
}

/// Whether an order can be for machines of this board: its units, their processors, the slots of what is fitted. `root` is where
/// the order stands in the file.
pub fn order_on(board: &Board, order: &Order, root: &Path, bays: Bays, report: &mut Report<'_>) {
    for (n, unit) in order.unit.iter().enumerate() {
        let at = root.key("unit").index(n);
        for (p, processor) in unit.processor.iter().enumerate() {
            let at = at.key("processor").index(p);
            let sockets = || board.socket.iter().map(|socket| socket.label.as_str());
            if !sockets().any(|label| label == processor.socket) {
                let what = format!("the board has no socket `{}`", shown(&processor.socket));
                report(at.key("socket"), what, way_out(&processor.socket, sockets()));
            }
            let cpus = || board.cpu.iter().map(|cpu| cpu.name.as_str());
            if let Some(cpu) = processor.cpu.as_deref().filter(|cpu| !cpus().any(|name| name == *cpu)) {
                let what = format!("the board lists no processor `{}`", shown(cpu));
                report(at.key("cpu"), what, way_out(cpu, cpus()));
            }
        }
        match (&board.enclosure, &unit.bay) {
            (Some(enclosure), Some(bay)) if !enclosure.bays.contains(bay) => {
                let what = format!("enclosure `{}` has no bay `{}`", shown(&enclosure.name), shown(bay));
                report(at.key("bay"), what, way_out(bay, enclosure.bays.iter().map(String::as_str)));
            }
            (Some(enclosure), None) if bays == Bays::Needed => {
                let what = format!(
                    "unit `{}` is a node of enclosure `{}`, and its bay is not given",
                    shown(&unit.chassis),
                    shown(&enclosure.name)
                );
                let help = Some("give `enclosure` and `bay`, so that the right node is opened".to_owned());
                report(at.key("bay"), what, help);
            }
            (None, Some(_)) => {
                let help = Some("the board has no `enclosure`".to_owned());
                report(at.key("bay"), "this machine is no node of an enclosure".to_owned(), help);
            }
            _ => {}
        }
    }
    for (n, fitted) in order.fitted.iter().enumerate() {
        known(board, &fitted.slot, &root.key("fitted").index(n).key("slot"), report);
    }
}

/// Whether both are known and not the same.
fn differ<T: PartialEq>(a: Option<T>, b: Option<T>) -> bool {
    matches!((a, b), (Some(a), Some(b)) if a != b)
}

fn in_words(module: &Module) -> String {
    let mut out = module.spec.to_string();
    if let Some(part) = &module.identity.part {
        out.push_str(&format!(", part {}", shown(part)));
    }
    if let Some(serial) = &module.identity.serial {
        out.push_str(&format!(", serial {}", shown(serial)));
    }
    out
}

/// The first twelve characters of a hash.
fn short(hash: &str) -> String {
    shown(&hash.chars().take(12).collect::<String>()).to_string()
}
