//! Reading the files that several commands take.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{FileTypeExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use super::{CommandError, Exit};
use crate::board::Board;
use crate::checklist::{Checklist, Site};
use crate::env::Env;
use crate::order::Order;
use crate::plan::{self, Bays, Plan, order_on};
use crate::record::{SetAside, Torn};
use crate::source::{Checked, Path as At, Read, Text, from_toml, read_toml};
use crate::text::shown;

/// The stock procedure, which is used where none is named.
const STOCK_PROCEDURE: &str = include_str!("../../checklists/procedures/install.toml");

/// The largest file a person writes, in bytes.
const LARGEST: u64 = 16 * 1024 * 1024;

/// The bytes of a file named on the command line, or of the first 16 MiB and one of them: the reader then says it is too large.
/// A pipe given there is waited for.
pub fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    let is_pipe = std::fs::metadata(path)?.file_type().is_fifo();
    up_to_largest(if is_pipe { File::open(path)? } else { open_plain(path)? })
}

/// The bytes of a file that another file or an answer names, as [`bytes`]. What is not a file is not waited for.
pub fn plain_bytes(path: &Path) -> io::Result<Vec<u8>> {
    up_to_largest(open_plain(path)?)
}

fn up_to_largest(file: File) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    file.take(LARGEST + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Opens an ordinary file. Others are not even opened if it can be helped: opening a device may set it going.
///
/// # Errors
/// No such file, or a folder, a pipe or a device.
pub fn open_plain(path: &Path) -> io::Result<File> {
    let plain = |found: &Metadata| match found.file_type() {
        kind if kind.is_file() => Ok(()),
        kind if kind.is_dir() => Err(rustix::io::Errno::ISDIR.into()),
        _ => Err(io::Error::new(io::ErrorKind::InvalidInput, "a pipe or a device, not a file")),
    };
    plain(&std::fs::metadata(path)?)?;
    let nonblock = rustix::fs::OFlags::NONBLOCK.bits() as i32;
    let file = OpenOptions::new().read(true).custom_flags(nonblock).open(path)?;
    plain(&file.metadata()?)?;
    Ok(file)
}

/// A path as the person gave it, below the folder the command was called in.
pub fn located(env: &Env, path: &Path) -> PathBuf {
    env.folder.join(path)
}

/// The name of a file as it is shown.
pub fn named(path: &Path) -> String {
    shown(&path.to_string_lossy()).to_string()
}

/// A file of one of our formats.
pub fn read<T: Checked>(env: &Env, path: &Path) -> Result<T, CommandError> {
    let bytes = bytes(&located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
    Ok(from_toml(&Text { file: &named(path), bytes: &bytes })?)
}

/// An order for machines of this board: what does not fit them is told with its line.
pub fn read_order(env: &Env, path: &Path, board: &Board, bays: Bays) -> Result<Order, CommandError> {
    let bytes = bytes(&located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
    let file = named(path);
    let read: Read<'_, Order> = read_toml(&Text { file: &file, bytes: &bytes }, Order::FORMAT)?;
    Ok(read.checked(|order, report| {
        order.check(report);
        order_on(board, order, &At::default(), bays, report);
    })?)
}

/// A plan, with the board and the order it may name beside it.
pub fn read_plan(env: &Env, path: &Path) -> Result<Plan, CommandError> {
    load(env, path, plan::load)
}

/// A plan that is to be judged by the board's rules: modules the board does not take are no fault of the file.
pub fn read_plan_to_judge(env: &Env, path: &Path) -> Result<Plan, CommandError> {
    load(env, path, plan::load_to_judge)
}

type Load = fn(&Text<'_>, &mut plan::Resolve<'_>) -> Result<Plan, plan::LoadError>;

fn load(env: &Env, path: &Path, load: Load) -> Result<Plan, CommandError> {
    let located = located(env, path);
    let bytes = bytes(&located).map_err(|error| CommandError::reading(path, &error))?;
    let folder = located.parent().unwrap_or(&env.folder).to_owned();
    load(&Text { file: &named(path), bytes: &bytes }, &mut |name| plain_bytes(&folder.join(name)))
        .map_err(|error| CommandError::new(Exit::BadData, error.to_string().trim_end()))
}

/// The checklist named, or the stock procedure; with the site's own limits in it.
pub fn read_checklist(env: &Env, path: Option<&Path>, site: Option<&Path>) -> Result<Checklist, CommandError> {
    let checklist: Checklist = match path {
        Some(path) => read(env, path)?,
        None => from_toml(&Text { file: "install.toml (built in)", bytes: STOCK_PROCEDURE.as_bytes() })?,
    };
    let Some(site) = site else { return Ok(checklist) };
    let limits: Site = read(env, site)?;
    checklist.with_site(&limits).map_err(|error| {
        CommandError::new(Exit::BadData, format!("{} does not fit the checklist", named(site))).because(&error)
    })
}

/// Says what of a record was set aside, on stderr.
///
/// # Errors
/// When stderr cannot be written to.
pub fn say_repaired(env: &mut Env, repaired: &[SetAside]) -> io::Result<()> {
    repaired.iter().try_for_each(|tail| {
        writeln!(env.stderr, "{} ({} bytes put aside as {})", tail.why, tail.bytes, shown(&tail.file))
    })
}

/// Says what stands behind the last whole line of a record that is left as it is, on stderr.
///
/// # Errors
/// When stderr cannot be written to.
pub fn say_torn(env: &mut Env, record: &Path, torn: Option<Torn>) -> io::Result<()> {
    let Some(torn) = torn else { return Ok(()) };
    let (record, words) = (named(record), torn.kind.words());
    writeln!(env.stderr, "mind: {record} is left as it is, and is not whole: {words} ({} bytes)", torn.bytes)
}
