//! A small job, done, signed and countersigned with keys of the tests' own.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::panic,
    reason = "each test binary uses its own part of it, and a check that cannot go on has failed"
)]

use std::fs;
use std::path::Path;

use chrono::{DateTime, FixedOffset, TimeDelta};
use signature::Signer as _;
use slotwise::record::sign::{Hash, NAMESPACE, SignerKey, Signers, Sshsig};
use slotwise::record::{Event, How, Journal, Line, Opened, Role, chain, time};
use slotwise::runner::all_steps;
use ssh_key::PrivateKey;
use ssh_key::private::Ed25519Keypair;

/// A key made of a number, so that every run has the same.
pub fn key(seed: u8) -> PrivateKey {
    PrivateKey::from(Ed25519Keypair::from_seed(&[seed; 32]))
}

pub fn public(private: &PrivateKey) -> SignerKey {
    SignerKey::from_blob(&private.public_key().to_bytes().unwrap()).unwrap()
}

/// Minutes after half past nine.
pub fn at(minute: i64) -> DateTime<FixedOffset> {
    time::parse("2026-11-25T09:30:00.000+01:00").unwrap() + TimeDelta::minutes(minute)
}

pub fn opened() -> Opened {
    serde_json::from_str(include_str!("../record/opened.json")).unwrap()
}

/// Ada's key is 1, Sam's 2.
pub fn signers() -> Signers {
    let line = |name: &str, seed| format!("{name} namespaces=\"{NAMESPACE}\" {}\n", public(&key(seed)).text());
    Signers::read(&format!("# who signs at Larkfield\n{}{}", line("ada", 1), line("sam", 2)), &|_| None)
}

/// A job with all its items answered.
pub fn done(folder: &Path) -> Journal {
    done_from(folder, 0)
}

/// The same, begun at another minute.
pub fn done_from(folder: &Path, first: i64) -> Journal {
    let mut journal = Journal::create(folder, "ada", at(first), opened()).unwrap();
    let steps = all_steps(journal.job()).unwrap();
    for ((_, _, step), minute) in steps.iter().zip(first + 1..) {
        let value = "both latches closed".to_owned();
        let answered = Event::Answered { step: step.id.clone(), value, how: How::Typed, took_ms: 900, serial: None };
        journal.append("ada", at(minute), answered).unwrap();
    }
    journal
}

pub fn declared(name: &str, role: Role, key: Option<&SignerKey>) -> Event {
    Event::Declared {
        name: name.to_owned(),
        role,
        statement: "as it is written here".to_owned(),
        reason: None,
        key: key.map(SignerKey::fingerprint),
    }
}

/// A signature by `private` over `message`, as anyone's program may make it.
pub fn signature(private: &PrivateKey, hash: Hash, message: &[u8]) -> Sshsig {
    let bytes = Sshsig::to_be_signed(NAMESPACE, hash, &hash.of(message));
    let signature: ssh_key::Signature = private.try_sign(&bytes).unwrap();
    let signature = Vec::try_from(signature).unwrap();
    Sshsig { key: public(private), namespace: NAMESPACE.to_owned(), hash, signature }
}

/// The two lines of a sign-off.
pub fn seal(journal: &mut Journal, minute: i64, name: &str, role: Role, private: &PrivateKey, hash: Hash) {
    let event = declared(name, role, Some(&public(private)));
    let head = journal.head().clone();
    let line = Line { n: head.lines + 1, at: at(minute), by: name.to_owned(), event: event.clone(), prev: head.hash };
    let mut message = fs::read(journal.path()).unwrap();
    message.extend(chain::encode(&line).unwrap());
    message.push(b'\n');
    let made = signature(private, hash, &message);
    let line = journal.append(name, at(minute), event).unwrap();
    let signed = Event::Signed { declared: line, key: made.key.text(), signature: made.to_base64() };
    journal.append(name, at(minute), signed).unwrap();
}

/// Signed by Ada, countersigned by Sam; with either hash once.
pub fn sealed(folder: &Path) -> Journal {
    let mut journal = done(folder);
    seal(&mut journal, 10, "ada", Role::Technician, &key(1), Hash::Sha256);
    seal(&mut journal, 20, "sam", Role::Supervisor, &key(2), Hash::Sha512);
    journal
}

/// The bytes of [`sealed`].
pub fn sealed_bytes() -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let journal = sealed(folder.path());
    fs::read(journal.path()).unwrap()
}
