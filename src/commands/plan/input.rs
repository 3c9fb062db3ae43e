//! The order and what is fitted.

use std::collections::BTreeMap;

use super::super::{CommandError, Exit, files};
use super::PlanArgs;
use super::complete::{complete, on_board};
use crate::board::{Board, SlotRef};
use crate::env::Env;
use crate::module::{Identity, Module, ModuleSpec};
use crate::order::{Fitted as OrderFitted, ORDER_FORMAT, Order, Unit};
use crate::plan::search::{FittedSeat, Problem};
use crate::plan::{Bays, Seat, Seats};
use crate::snapshot::{SlotReport, SlotState, read_json};
use crate::source::way_out;
use crate::stock::{Stock, fitted_from_csv};
use crate::text::shown;
use crate::units::{Mts, Size};

/// The fitted modules by slot in board order, for the plan file and for the search.
pub struct Fitted {
    pub modules: Vec<Option<Module>>,
    pub seats: Vec<Option<FittedSeat>>,
    /// What was taken for granted.
    pub notes: Vec<String>,
}

/// The order named, or one for so many units.
pub fn order(env: &Env, args: &PlanArgs, board: &Board) -> Result<Order, CommandError> {
    let mut order = match &args.order {
        Some(path) => {
            // Only a plan that is written down is worked through.
            let bays = if args.output.is_some() { Bays::Needed } else { Bays::Open };
            files::read_order(env, path, board, bays)?
        }
        None => Order {
            stand_ins: false,
            format: ORDER_FORMAT.to_owned(),
            name: "from the command line".to_owned(),
            unit: Vec::new(),
            gib: args.capacity.as_deref().and_then(Size::parse),
            fitted: Vec::new(),
        },
    };
    if let Some(units) = args.units {
        if units == 0 || units > 10_000 {
            return Err(CommandError::new(Exit::Usage, format!("--units {units}: a plan is for 1 to 10000 units")));
        }
        if !order.unit.is_empty() && order.unit.len() != units as usize {
            let what = format!("--units {units}, and the order lists {}", order.unit.len());
            return Err(CommandError::new(Exit::Usage, what).way_out("leave --units out: the order counts"));
        }
    }
    if order.unit.is_empty() {
        // Placeholders: whoever knows the tags writes an order, or puts them into the plan.
        let bays = board.enclosure.as_ref().map_or(&[][..], |e| &e.bays[..]);
        let unit = |n: u32| {
            let bay = (n as usize).checked_rem(bays.len()).and_then(|at| bays.get(at).cloned());
            let enclosure = (n as usize).checked_div(bays.len()).map(|at| format!("ENCLOSURE-{}", at + 1));
            Unit { chassis: format!("UNIT-{}", n + 1), enclosure, bay, processor: Vec::new() }
        };
        order.stand_ins = true;
        order.unit = (0..args.units.unwrap_or(1)).map(unit).collect();
    }
    Ok(order)
}

/// What is fitted: from the file named, else from the order.
pub fn fitted(env: &Env, args: &PlanArgs, board: &Board, order: &Order, stock: &Stock) -> Result<Fitted, CommandError> {
    let mut out = read_fitted(env, args, board, order)?;
    one_place(board, &out, stock)?;
    complete(board, &mut out, &stock.lots);
    on_board(board, &mut out);
    if order.unit.len() > 1 && out.modules.iter().flatten().any(|module| module.identity.serial.is_some()) {
        out.modules.iter_mut().flatten().for_each(|module| module.identity.serial = None);
        let units = order.unit.len();
        out.notes.push(format!(
            "a serial names one module: those of what is fitted are left out of a plan for {units} units"
        ));
    }
    Ok(out)
}

/// A module that is fitted lies in no lot as well.
fn one_place(board: &Board, fitted: &Fitted, stock: &Stock) -> Result<(), CommandError> {
    let lots: BTreeMap<&str, &str> =
        stock.lots.iter().flat_map(|lot| lot.serials.iter().map(|s| (s.as_str(), lot.name.as_str()))).collect();
    for at in board.slots() {
        let Some(module) = fitted.modules.get(at.index).and_then(Option::as_ref) else { continue };
        let Some(serial) = &module.identity.serial else { continue };
        if let Some(lot) = lots.get(serial.as_str()) {
            let what = format!(
                "serial {} is fitted in {} and stands in lot {} of the stock list: a module is in one place",
                shown(serial),
                at.slot.label,
                shown(lot)
            );
            return Err(CommandError::new(Exit::BadData, what)
                .way_out("take it out of the stock list, or out of what is fitted"));
        }
    }
    Ok(())
}

fn read_fitted(env: &Env, args: &PlanArgs, board: &Board, order: &Order) -> Result<Fitted, CommandError> {
    let slots = board.slots().count();
    let mut out = Fitted { modules: vec![None; slots], seats: vec![None; slots], notes: Vec::new() };
    let stays = |slot: &str| order.fitted.iter().any(|f| f.stays && f.slot.as_str() == slot);
    let mut put = |place: &str, label: &str, module: Module, volts: Option<String>| -> Result<(), CommandError> {
        let at = board.slot(label).ok_or_else(|| {
            let what = format!("{place}: board {} has no slot `{}`", shown(&board.name), shown(label));
            let help = way_out(label, board.slots().map(|at| at.slot.label.as_str()));
            let help = help.unwrap_or_else(|| "write the label as the board file has it".to_owned());
            CommandError::new(Exit::BadData, what).way_out(help)
        })?;
        if out.modules[at.index].is_some() {
            let what = format!("{place}: `{}` is named twice, and a slot holds one module", shown(label));
            return Err(CommandError::new(Exit::BadData, what).way_out("keep the line of the module that is there"));
        }
        let seat = Seat { spec: module.spec.clone(), volts };
        out.modules[at.index] = Some(module);
        out.seats[at.index] = Some(FittedSeat { seat, stays: stays(label) });
        Ok(())
    };
    let Some(path) = &args.fitted else {
        let in_order =
            format!("{}: fitted", args.order.as_deref().map_or_else(|| "the order".to_owned(), files::named));
        for OrderFitted { slot, module, volts, .. } in &order.fitted {
            put(&in_order, slot.as_str(), module.clone(), volts.clone())?;
        }
        return Ok(out);
    };
    let bytes = files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
    if bytes.first() == Some(&b'{') {
        let snapshot = read_json(&bytes).map_err(|error| {
            CommandError::new(Exit::BadData, format!("{} is no snapshot", files::named(path))).because(&error)
        })?;
        for report in snapshot.slots.iter().filter(|r| r.state == SlotState::Fitted) {
            let Some(label) = label_of(board, report) else {
                let locator = report.locator.clone().unwrap_or_default();
                let what = format!(
                    "the snapshot reports a module in `{}`, which is no slot of {}",
                    shown(&locator),
                    shown(&board.name)
                );
                return Err(CommandError::new(Exit::BadData, what)
                    .way_out("name the firmware's locators in the board file: reports_as"));
            };
            put(&files::named(path), &label, module_of(report), None)?;
        }
    } else {
        let lots = fitted_from_csv(&path.to_string_lossy(), &bytes)
            .map_err(|error| CommandError::new(Exit::BadData, error.to_string()))?;
        for (line, lot) in lots {
            let identity =
                Identity { part: lot.part.clone(), serial: lot.serials.first().cloned(), ..Identity::default() };
            let module = Module { spec: lot.spec.clone(), identity };
            put(&format!("{}:{line}: slot", files::named(path)), &lot.name, module, lot.volts)?;
        }
    }
    Ok(out)
}

/// What is fitted as the order in the plan lists it, so that every line of the plan about it can be held against it.
pub fn listed(args: &PlanArgs, problem: &Problem<'_>, modules: &[Option<Module>], order: &Order) -> Vec<OrderFitted> {
    if args.fitted.is_none() {
        return order.fitted.clone();
    }
    let slots = problem.board.slots();
    let of = |at: SlotRef<'_>| {
        let (module, fitted) = (modules.get(at.index)?.clone()?, problem.fitted.get(at.index)?.as_ref()?);
        let volts = fitted.seat.volts_beyond_generation();
        Some(OrderFitted { slot: at.slot.label.clone(), module, volts, stays: fitted.stays })
    };
    slots.filter_map(of).collect()
}

/// The population there is before.
pub fn seats_of(fitted: &[Option<FittedSeat>]) -> Seats {
    fitted.iter().map(|f| f.as_ref().map(|f| f.seat.clone())).collect()
}

/// The slot whose names the firmware uses; the bank decides where locators repeat.
fn label_of(board: &Board, report: &SlotReport) -> Option<String> {
    let locator = report.locator.as_deref()?;
    board
        .slots()
        .find(|at| {
            at.slot.reports_as.iter().any(|name| {
                name.locator() == locator && name.bank().is_none_or(|bank| report.bank.as_deref() == Some(bank))
            })
        })
        .map(|at| at.slot.label.as_str().to_owned())
        .or_else(|| board.slot(locator).map(|at| at.slot.label.as_str().to_owned()))
}

fn module_of(report: &SlotReport) -> Module {
    Module {
        spec: ModuleSpec {
            generation: report.generation,
            kind: report.kind,
            gib: Size::from_mib(report.size_mib.unwrap_or(0)),
            ranks: report.ranks,
            width: None,
            mts: report.rated_mts.map(Mts),
        },
        identity: Identity {
            maker: report.maker.clone(),
            part: report.part.clone(),
            serial: report.serial.clone(),
            date: None,
        },
    }
}
