//! `slotwise board check` and `slotwise board draw`.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::{CommandError, Exit, files};
use crate::board::{Board, Channel, Cover, SlotRef};
use crate::draw::{Align, Drawing, Look, Mark, State, orientation, slot_map, table};
use crate::env::Env;
use crate::source::{Faults, Text, counted, from_toml};
use crate::text::shown;

/// Checks and draws board files
#[derive(Debug, Clone, clap::Args)]
pub struct BoardArgs {
    #[command(subcommand)]
    pub command: BoardCommand,
}

/// What is done with a board file.
#[derive(Debug, Clone, clap::Subcommand)]
pub enum BoardCommand {
    Check(CheckArgs),
    Draw(DrawArgs),
}

/// Runs `board check` or `board draw`.
///
/// # Errors
/// Those of [`check`] and [`draw`].
pub fn run(env: &mut Env, args: &BoardArgs) -> Result<Exit, CommandError> {
    match &args.command {
        BoardCommand::Check(args) => check(env, args),
        BoardCommand::Draw(args) => draw(env, args),
    }
}

/// Checks board files and tells every fault in them
///
/// Each fault comes with file, line and column, the line itself, and the nearest thing that may have been meant. A board
/// without a fault is told in numbers, with the limits nobody has looked up as unknown. The exit code is 65 when a file
/// has faults.
#[derive(Debug, Clone, clap::Args)]
pub struct CheckArgs {
    /// Board files
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Draws a board: its slots as you stand before it, what is filled first, what is in the way
#[derive(Debug, Clone, clap::Args)]
pub struct DrawArgs {
    /// Board file
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Checks each file; `BadData` when one has faults. A file that cannot be read does not keep the others from being
/// checked; its error comes at the end.
///
/// # Errors
/// The first file that could not be read, and a stream that fails.
pub fn check(env: &mut Env, args: &CheckArgs) -> Result<Exit, CommandError> {
    let look = look(env);
    let colour = env.colour(env.terminal.stdout_is_terminal);
    let mut exit = Exit::Done;
    let mut unread = None;
    let mut reports = Vec::new();
    for (n, file) in args.files.iter().enumerate() {
        let name = file.to_string_lossy();
        let bytes = match files::bytes(&files::located(env, file)).map_err(|error| CommandError::reading(file, &error))
        {
            Ok(bytes) => bytes,
            Err(error) => {
                reports.push(json!({ "file": name, "error": error.what }));
                unread.get_or_insert(error);
                continue;
            }
        };
        let read = from_toml::<Board>(&Text { file: &name, bytes: &bytes });
        if read.is_err() {
            exit = Exit::BadData;
        }
        if args.json {
            reports.push(report(&name, &read));
            continue;
        }
        let gap = if n > 0 { "\n" } else { "" };
        match read {
            Ok(board) => write!(env.stdout, "{gap}{}", in_words(&name, &board, look, colour))?,
            Err(faults) if colour => writeln!(env.stdout, "{gap}{}", faults.coloured())?,
            Err(faults) => writeln!(env.stdout, "{gap}{faults}")?,
        }
    }
    if args.json {
        writeln!(env.stdout, "{:#}", json!({ "files": reports }))?;
    }
    env.stdout.flush()?;
    unread.map_or(Ok(exit), Err)
}

fn report(name: &str, read: &Result<Board, Faults>) -> Value {
    match read {
        Ok(board) => {
            let summary = board.summary();
            let limits: serde_json::Map<String, Value> =
                summary.limits.iter().map(|(limit, value)| ((*limit).to_owned(), json!(value))).collect();
            json!({
                "file": name,
                "faults": [],
                "board": {
                    "name": summary.name, "generation": summary.generation, "sockets": summary.sockets,
                    "channels": summary.channels, "slots": summary.slots, "largest_gib": summary.largest_gib,
                    "limits": limits, "unknown": summary.unknown, "sha256": board.sha256(),
                },
            })
        }
        Err(faults) => {
            let mut value = json!(faults);
            if let Some(map) = value.as_object_mut() {
                map.insert("board".to_owned(), Value::Null);
            }
            value
        }
    }
}

fn in_words(name: &str, board: &Board, look: Look, colour: bool) -> String {
    let summary = board.summary();
    let mut out = format!(
        "{}: board {}, no faults\n{}, {}, {} of {}",
        shown(name),
        shown(&summary.name),
        counted(summary.sockets, "socket"),
        counted(summary.channels, "channel"),
        counted(summary.slots, "slot"),
        summary.generation
    );
    if let Some(size) = summary.largest_gib {
        out.push_str(&format!("; {size} with the largest module everywhere"));
    }
    out.push_str("\n\n");
    let rows: Vec<Vec<String>> = summary
        .limits
        .iter()
        .map(|(name, value)| vec![(*name).to_owned(), value.clone().unwrap_or_else(|| "unknown".to_owned())])
        .collect();
    let limits = table(&[("limit", Align::Left), ("value", Align::Left)], &rows, look);
    out.push_str(&lines(&limits, colour));
    out
}

/// Draws one board.
///
/// # Errors
/// A file that cannot be read or has faults, and a stream that fails.
pub fn draw(env: &mut Env, args: &DrawArgs) -> Result<Exit, CommandError> {
    let board: Board = files::read(env, &args.file)?;
    let look = look(env);
    let map = slot_map(&board, &position, look);
    if args.json {
        let picture = json!({ "board": board.name, "map": map.plain(), "slots": slots(&board) });
        writeln!(env.stdout, "{picture:#}")?;
    } else {
        let colour = env.colour(env.terminal.stdout_is_terminal);
        let text = [
            format!("{}\n\n", heading(&board)),
            lines(&map, colour),
            format!("\n[1] is filled first in its channel; {}\n\n", orientation(&board, look)),
            lines(&channels(&board, look), colour),
            covers(&board),
        ];
        env.stdout.write_all(text.concat().as_bytes())?;
    }
    env.stdout.flush()?;
    Ok(Exit::Done)
}

/// What the terminal behind standard output takes.
fn look(env: &Env) -> Look {
    let width = env.terminal.size.map_or(Look::PLAIN.width, |(columns, _)| usize::from(columns).max(20));
    Look { width, unicode: env.unicode() }
}

fn lines(drawing: &Drawing, colour: bool) -> String {
    drawing.shown(colour).iter().map(|line| format!("{line}\n")).collect()
}

fn heading(board: &Board) -> String {
    match &board.enclosure {
        Some(enclosure) => format!("{}, a node of {}", shown(&board.name), shown(&enclosure.name)),
        None => shown(&board.name).to_string(),
    }
}

/// A slot by its position in its channel.
fn position(slot: SlotRef<'_>) -> Mark {
    Mark { state: State::Planned, sign: char::from_digit(u32::from(slot.slot.position), 36) }
}

fn channels(board: &Board, look: Look) -> Drawing {
    let mut rows = Vec::new();
    for socket in &board.socket {
        for channel in &socket.channel {
            let mut slots: Vec<_> = channel.slot.iter().collect();
            slots.sort_by_key(|slot| slot.position);
            let slots = slots.iter().map(|slot| match &slot.tab {
                Some(tab) => format!("{} {}", slot.label, shown(tab)),
                None => slot.label.to_string(),
            });
            let name = format!("{}/{}", shown(&socket.label), shown(&channel.label));
            rows.push(vec![name, slots.collect::<Vec<_>>().join(", "), key_of(channel)]);
        }
    }
    let heads = [("channel", Align::Left), ("slots as they are filled, latch", Align::Left), ("key", Align::Left)];
    table(&heads, &rows, look)
}

/// Which way the keys of a channel lie, once where they lie alike.
fn key_of(channel: &Channel) -> String {
    let mut keys: Vec<&str> = channel.slot.iter().map(|slot| slot.key.as_deref().unwrap_or("unknown")).collect();
    keys.dedup();
    keys.iter().map(|key| shown(key).to_string()).collect::<Vec<_>>().join(", ")
}

fn covers(board: &Board) -> String {
    if board.cover.is_empty() {
        return String::new();
    }
    let lines = board.cover.iter().enumerate().map(|(n, cover)| format!("{}. {}\n", n + 1, cover.in_words()));
    format!("\nIn the way, in the order they come off:\n{}", lines.collect::<String>())
}

fn slots(board: &Board) -> Vec<Value> {
    let covers = |slot: SlotRef<'_>| -> Vec<String> {
        let blocking = |cover: &&Cover| cover.blocks(slot);
        board.cover.iter().filter(blocking).map(|cover| cover.name.clone()).collect()
    };
    board
        .slots()
        .map(|slot| {
            json!({
                "slot": slot.slot.label, "socket": slot.socket.label, "channel": slot.channel.label,
                "position": slot.slot.position, "tab": slot.slot.tab, "key": slot.slot.key,
                "reports_as": slot.slot.reports_as, "at": slot.slot.at, "covers": covers(slot),
            })
        })
        .collect()
}
