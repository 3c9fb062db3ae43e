//! The file that says whose keys count: OpenSSH's allowed signers (ssh-keygen(1), ALLOWED SIGNERS).

use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Utc};

use super::SignerKey;
use super::pattern::fits_list;

/// A line that cannot be read: it allows nobody.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {why}")]
pub struct SignerFault {
    pub line: usize,
    pub why: &'static str,
}

/// The line by which a signer is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Allowed {
    pub line: usize,
    /// By a certificate of the authority on that line.
    pub by_authority: bool,
}

/// Why a signer is not allowed: of all lines the one that came closest.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
pub enum NotAllowed {
    #[error("no line names this person")]
    NoSuchPerson,
    #[error("the lines that name this person hold other keys")]
    OtherKey,
    #[error("line {line} has the certificate's authority, but {why}")]
    Certificate { line: usize, why: &'static str },
    #[error("line {line} allows the key for other namespaces only")]
    OtherNamespace { line: usize },
    #[error("line {line} allows the key from {} on, and this is before", moment(*from))]
    NotYet { line: usize, from: i64 },
    #[error("line {line} allowed the key until {}, and this is after", moment(*until))]
    NoLonger { line: usize, until: i64 },
    #[error("the key is revoked")]
    Revoked,
}

fn moment(seconds: i64) -> String {
    DateTime::<Utc>::from_timestamp(seconds, 0).map_or_else(|| seconds.to_string(), |at| at.to_rfc3339())
}

#[derive(Debug, Clone)]
struct SignerLine {
    line: usize,
    principals: String,
    key: SignerKey,
    authority: bool,
    namespaces: Option<String>,
    /// Seconds since 1970 UTC.
    after: Option<i64>,
    before: Option<i64>,
}

/// A signers file.
#[derive(Debug, Clone, Default)]
pub struct Signers {
    lines: Vec<SignerLine>,
    faults: Vec<SignerFault>,
}

/// Gives the moment (seconds since 1970 UTC) of a local time, where the file names none of UTC.
pub type Zone<'a> = &'a dyn Fn(NaiveDateTime) -> Option<i64>;

impl Signers {
    /// Reads a signers file. A line with a fault allows nobody and is told in [`Signers::faults`]; the others count.
    pub fn read(text: &str, zone: Zone<'_>) -> Self {
        let mut signers = Self::default();
        for (n, text) in text.split('\n').enumerate() {
            // For C a NUL ends a line.
            let text = text.split('\0').next().unwrap_or_default();
            let text = text.trim_start_matches([' ', '\t']).trim_end_matches(['\r', ' ', '\t']);
            if text.is_empty() || text.starts_with('#') {
                continue;
            }
            match line(n + 1, text, zone) {
                Ok(line) => signers.lines.push(line),
                Err(why) => signers.faults.push(SignerFault { line: n + 1, why }),
            }
        }
        signers
    }

    /// The lines that cannot be read.
    pub fn faults(&self) -> &[SignerFault] {
        &self.faults
    }

    /// How many lines name someone.
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether no line names anyone.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// Whether `principal` may sign with `key` for `namespace` at a moment, in seconds since 1970 UTC.
    ///
    /// # Errors
    /// Why not.
    pub fn allow(&self, key: &SignerKey, principal: &str, namespace: &str, at: i64) -> Result<Allowed, NotAllowed> {
        let mut closest = NotAllowed::NoSuchPerson;
        // For C a NUL ends a text: of such a name `ssh-keygen` cannot be asked, so no line is for it.
        if principal.contains('\0') {
            return Err(closest);
        }
        for line in self.lines.iter().filter(|line| fits_list(principal, &line.principals)) {
            match line.allow(key, principal, namespace, at) {
                Ok(()) => return Ok(Allowed { line: line.line, by_authority: line.authority }),
                Err(why) => closest = closest.max(why),
            }
        }
        Err(closest)
    }
}

impl SignerLine {
    fn allow(&self, key: &SignerKey, principal: &str, namespace: &str, at: i64) -> Result<(), NotAllowed> {
        if self.authority {
            if key.certificate().is_none_or(|certificate| certificate.authority != self.key.plain_blob()) {
                return Err(NotAllowed::OtherKey);
            }
            certificate_fits(key, principal, at).map_err(|why| NotAllowed::Certificate { line: self.line, why })?;
        } else if key.blob() != self.key.blob() {
            return Err(NotAllowed::OtherKey);
        }
        if self.namespaces.as_ref().is_some_and(|list| !fits_list(namespace, list)) {
            return Err(NotAllowed::OtherNamespace { line: self.line });
        }
        match (self.after, self.before) {
            (Some(from), _) if at < from => Err(NotAllowed::NotYet { line: self.line, from }),
            (_, Some(until)) if at > until => Err(NotAllowed::NoLonger { line: self.line, until }),
            _ => Ok(()),
        }
    }
}

/// A certificate must be a person's, name the person word for word, and be valid at the time (sshkey.c; judged by
/// `ssh-keygen` in the tests).
fn certificate_fits(key: &SignerKey, principal: &str, at: i64) -> Result<(), &'static str> {
    let Some(certificate) = key.certificate() else { return Err("the signature comes without a certificate") };
    let at = u64::try_from(at).unwrap_or(0);
    if !certificate.is_for_a_person {
        Err("it is a machine's certificate")
    } else if at < certificate.valid_after {
        Err("it was not valid yet")
    } else if at >= certificate.valid_before {
        Err("it was no longer valid")
    } else if !certificate.principals.iter().any(|name| name == principal.as_bytes()) {
        Err("it does not name this person")
    } else {
        Ok(())
    }
}

fn line(n: usize, text: &str, zone: Zone<'_>) -> Result<SignerLine, &'static str> {
    let (principals, rest) = word(text).ok_or("a quote is not closed")?;
    // What stands for bytes that are no UTF-8 must not be taken for the name of one who is called just that.
    if principals.contains(char::REPLACEMENT_CHARACTER) {
        return Err("its names are not UTF-8");
    }
    if rest.is_empty() {
        return Err("there is no key behind the names");
    }
    let plain =
        |key| SignerLine { line: n, principals, key, authority: false, namespaces: None, after: None, before: None };
    if let Ok((key, _)) = SignerKey::from_text(rest) {
        return Ok(plain(key));
    }
    let (options, behind) = options_end(rest).ok_or("a quote in the options is not closed")?;
    let (key, _) = SignerKey::from_text(behind).map_err(|_| "no key can be read behind the names and options")?;
    let mut line = plain(key);
    take_options(&mut line, options, zone)?;
    Ok(line)
}

/// White space behind the names; between options and keys only the first two count.
const WHITE: [char; 3] = [' ', '\t', '\r'];

/// The first word and what follows; quotes hold a word with blanks together.
fn word(text: &str) -> Option<(String, &str)> {
    let end = text.find([' ', '\t', '\r', '"']).unwrap_or(text.len());
    let (start, rest) = text.split_at(end);
    let Some(quoted) = rest.strip_prefix('"') else {
        return Some((start.to_owned(), rest.trim_start_matches(WHITE)));
    };
    let (inner, rest) = quoted.split_once('"')?;
    Some((format!("{start}{inner}"), rest.trim_start_matches(WHITE)))
}

/// The options and what stands behind them; `None` when a quote is not closed.
fn options_end(text: &str) -> Option<(&str, &str)> {
    let bytes = text.as_bytes();
    let (mut at, mut quoted) = (0, false);
    while at < bytes.len() && (quoted || !matches!(bytes[at], b' ' | b'\t')) {
        match bytes[at] {
            b'\\' if bytes.get(at + 1) == Some(&b'"') => at += 1,
            b'"' => quoted = !quoted,
            _ => {}
        }
        at += 1;
    }
    if quoted { None } else { text.split_at_checked(at) }
}

fn take_options(line: &mut SignerLine, options: &str, zone: Zone<'_>) -> Result<(), &'static str> {
    let mut rest = options;
    while !rest.is_empty() {
        if let Some(behind) = keyword(rest, "cert-authority") {
            line.authority = true;
            rest = behind;
        } else if let Some(behind) = keyword(rest, "namespaces=") {
            let (value, behind) = unquoted(behind)?;
            if line.namespaces.replace(value).is_some() {
                return Err("`namespaces` stands twice");
            }
            rest = behind;
        } else if let Some(behind) = keyword(rest, "valid-after=") {
            let (value, behind) = unquoted(behind)?;
            if line.after.replace(time(&value, zone).ok_or("`valid-after` is no time")?).is_some() {
                return Err("`valid-after` stands twice");
            }
            rest = behind;
        } else if let Some(behind) = keyword(rest, "valid-before=") {
            let (value, behind) = unquoted(behind)?;
            if line.before.replace(time(&value, zone).ok_or("`valid-before` is no time")?).is_some() {
                return Err("`valid-before` stands twice");
            }
            rest = behind;
        }
        // Between two commas nothing may stand.
        if rest.is_empty() {
            break;
        }
        rest = rest.strip_prefix(',').ok_or("an option this format does not have")?;
        if rest.is_empty() {
            return Err("the options end in a comma");
        }
    }
    if let (Some(after), Some(before)) = (line.after, line.before)
        && before <= after
    {
        return Err("`valid-before` is not behind `valid-after`");
    }
    Ok(())
}

fn keyword<'a>(text: &'a str, name: &str) -> Option<&'a str> {
    let (head, rest) = text.split_at_checked(name.len())?;
    head.eq_ignore_ascii_case(name).then_some(rest)
}

/// A value in quotes, `\"` for one inside.
fn unquoted(text: &str) -> Result<(String, &str), &'static str> {
    let mut rest = text.strip_prefix('"').ok_or("a value must stand in quotes")?;
    let mut value = String::new();
    loop {
        let mut chars = rest.chars();
        match chars.next().ok_or("a quote is not closed")? {
            '"' => return Ok((value, chars.as_str())),
            '\\' if chars.as_str().starts_with('"') => {
                value.push('"');
                chars.next();
            }
            c => value.push(c),
        }
        rest = chars.as_str();
    }
}

/// `YYYYMMDD[HHMM[SS]][Z]`: UTC with a `Z` (or `UTC`), local time without. Never 0 or before.
fn time(text: &str, zone: Zone<'_>) -> Option<i64> {
    let bare = text.strip_suffix(['Z', 'z']).filter(|bare| !bare.is_empty());
    let bare = bare.or_else(|| {
        let (head, tail) = text.split_at_checked(text.len().checked_sub(3)?)?;
        (tail.eq_ignore_ascii_case("UTC") && !head.is_empty()).then_some(head)
    });
    let (digits, utc) = bare.map_or((text, false), |bare| (bare, true));
    if !matches!(digits.len(), 8 | 12 | 14) {
        return None;
    }
    // As the C library reads them: a blank for a leading zero, 31 days and 62 seconds wherever, and what is too much goes
    // over into the next month or minute.
    let part = |from: usize, to: usize, most: u32| {
        let Some(part) = digits.get(from..to) else { return (digits.len() <= from).then_some(0) };
        let number = part.trim_start_matches(' ');
        let number = number.bytes().all(|byte| byte.is_ascii_digit()).then(|| number.parse::<u32>().ok())??;
        (number <= most).then_some(number)
    };
    let date = NaiveDate::from_ymd_opt(i32::try_from(part(0, 4, 9999)?).ok()?, part(4, 6, 12)?, 1)?;
    let day = part(6, 8, 31).filter(|day| *day > 0)?;
    let start = date.and_hms_opt(part(8, 10, 23)?, part(10, 12, 59)?, 0)?;
    let over = TimeDelta::days(i64::from(day) - 1) + TimeDelta::seconds(i64::from(part(12, 14, 61)?));
    let at = start.checked_add_signed(over)?;
    let seconds = if utc { at.and_utc().timestamp() } else { zone(at)? };
    (seconds > 0).then_some(seconds)
}
