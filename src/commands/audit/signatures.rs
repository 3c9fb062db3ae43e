//! The signatures of a record against its bytes and against the people who may sign.

use std::collections::BTreeMap;
use std::path::Path;

use sha2::{Digest as _, Sha512};

use super::{Against, Recipe, Report, SignatureTold};
use crate::record::sign::{BadSignature, Hash, KnownKeys, NAMESPACE, NotAllowed, SignerKey, Sshsig};
use crate::record::{Declaration, Job, Role, time};
use crate::text::shown;

/// What a `signed` line holds.
#[derive(Debug, Clone)]
pub struct Seal {
    pub declared: u64,
    pub key: String,
    pub signature: String,
}

/// All seals of a record, with what they cover.
#[derive(Debug)]
pub struct Seals<'a> {
    bytes: &'a [u8],
    covered: BTreeMap<u64, Covered>,
    seals: BTreeMap<u64, Seal>,
}

/// The record up to and including a `declared` line.
#[derive(Debug)]
struct Covered {
    /// In bytes, newline included.
    length: usize,
    sha256: [u8; 32],
}

impl<'a> Seals<'a> {
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, covered: BTreeMap::new(), seals: BTreeMap::new() }
    }

    /// A `declared` line ends at `end`, newline included, and up to there this is the hash of the record.
    pub fn declared(&mut self, line: u64, end: u64, sha256: [u8; 32]) {
        let length = usize::try_from(end).unwrap_or(usize::MAX);
        self.covered.insert(line, Covered { length, sha256 });
    }

    pub fn signed(&mut self, seal: Seal) {
        self.seals.insert(seal.declared, seal);
    }

    /// The seals, read, each with the hash of what it covers. The bytes are hashed once for all of them, not once for each.
    fn read(&self) -> BTreeMap<u64, Result<(Sshsig, Vec<u8>), BadSignature>> {
        let mut sha512 = Beginnings { bytes: self.bytes, hash: Sha512::new(), until: 0 };
        let mut read = BTreeMap::new();
        for (declared, seal) in &self.seals {
            // A seal of a line that declares nothing is refused on reading.
            let Some(covered) = self.covered.get(declared) else { continue };
            let signature = Sshsig::from_base64(&seal.signature).and_then(|signature| {
                if signature.key.text() != seal.key {
                    return Err(BadSignature::OtherKey);
                }
                let hash = match signature.hash {
                    Hash::Sha256 => covered.sha256.to_vec(),
                    Hash::Sha512 => sha512.up_to(covered.length),
                };
                Ok((signature, hash))
            });
            read.insert(*declared, signature);
        }
        read
    }
}

/// Hashes of growing beginnings of the same bytes.
struct Beginnings<'a> {
    bytes: &'a [u8],
    hash: Sha512,
    until: usize,
}

impl Beginnings<'_> {
    fn up_to(&mut self, end: usize) -> Vec<u8> {
        self.hash.update(self.bytes.get(self.until..end).unwrap_or_default());
        self.until = end;
        self.hash.clone().finalize().to_vec()
    }
}

/// Checks every sign-off of the job, those that no longer stand included.
pub fn check(report: &mut Report, job: &Job, seals: &Seals<'_>, against: &Against, known: &mut KnownKeys, file: &Path) {
    let read = seals.read();
    let mut technicians: Vec<SignerKey> = Vec::new();
    for declaration in job.declarations() {
        let mut told = told(declaration);
        other_hand(report, declaration);
        match (&declaration.key, declaration.signed, read.get(&declaration.line)) {
            (None, _, _) => typed(report, declaration),
            (Some(key), None, _) => unfinished(report, job, declaration, key),
            (Some(_), Some(signed), Some(Ok((signature, hash)))) => {
                told.check =
                    Some(Recipe::new(file, Some(against), &declaration.name, declaration.line, declaration.at));
                let fits = signature.check_hash(NAMESPACE, hash, known);
                told.fits = Some(fits.is_ok());
                if let Err(error) = fits {
                    report.wrong(Some(signed), format!("the signature of {}: {error}", shown(&declaration.name)));
                } else {
                    told.allowed_by = allowed(report, declaration, &signature.key, against);
                    let same = technicians.iter().any(|key| key.is_same(&signature.key));
                    match declaration.role {
                        Role::Technician => technicians.push(signature.key.clone()),
                        Role::Supervisor if same => report.wrong(
                            Some(signed),
                            "the supervisor's signature is by the technician's key: one person signed twice",
                        ),
                        Role::Supervisor => {}
                    }
                }
            }
            (Some(_), Some(signed), Some(Err(error))) => {
                told.fits = Some(false);
                report.wrong(Some(signed), format!("the signature of {}: {error}", shown(&declaration.name)));
            }
            (Some(_), Some(signed), None) => report.wrong(Some(signed), "the signature cannot be found"),
        }
        report.signatures.push(told);
    }
}

fn told(declaration: &Declaration) -> SignatureTold {
    SignatureTold {
        declared: declaration.line,
        signed: declaration.signed,
        name: declaration.name.clone(),
        role: declaration.role,
        at: declaration.at,
        statement: declaration.statement.clone(),
        reason: declaration.reason.clone(),
        key: declaration.key.clone(),
        fits: None,
        allowed_by: None,
        stands: declaration.stands(),
        check: None,
    }
}

/// The program writes the one who signs as the one who wrote the line, and nobody else.
fn other_hand(report: &mut Report, declaration: &Declaration) {
    if declaration.by == declaration.name {
        return;
    }
    let what = format!(
        "states that {} signs, and was written by {}: this program writes no such line",
        shown(&declaration.name),
        shown(&declaration.by)
    );
    if declaration.stands() {
        report.not_proven(Some(declaration.line), what);
    } else {
        report.note(Some(declaration.line), what);
    }
}

fn typed(report: &mut Report, declaration: &Declaration) {
    if declaration.stands() {
        let what = format!(
            "{} signed as {} by typed name only: weaker, nothing shows who typed it",
            shown(&declaration.name),
            declaration.role.name()
        );
        report.not_proven(Some(declaration.line), what);
    }
}

fn unfinished(report: &mut Report, job: &Job, declaration: &Declaration, key: &str) {
    let what = format!(
        "announces a signature by key {}, and no signature follows: {}",
        shown(key),
        if declaration.line == job.lines() {
            "signing was interrupted (sign again), or the file was cut here"
        } else {
            "signing was interrupted"
        }
    );
    if declaration.stands() {
        report.not_proven(Some(declaration.line), what);
    } else {
        report.note(Some(declaration.line), what);
    }
}

/// Whether the signer may sign. At the time the declaration names: it is the signer's own, like all times in a record.
fn allowed(report: &mut Report, declaration: &Declaration, key: &SignerKey, against: &Against) -> Option<usize> {
    let at = time::seconds(&declaration.at);
    let name = &declaration.name;
    let line = declaration.signed;
    if at <= 0 {
        let what = format!(
            "is dated {}: nobody's key can be shown to have been allowed before 1970, a time `ssh-keygen` does not take",
            time::text(&declaration.at)
        );
        if declaration.stands() {
            report.not_proven(line, what);
        } else {
            report.note(line, what);
        }
        return None;
    }
    let verdict = match &against.signers {
        _ if against.revoked.has(key) => Err(NotAllowed::Revoked),
        None => {
            if declaration.stands() {
                let what = format!(
                    "the signature of {} fits, by key {}; whose key that is nobody said: --signers FILE",
                    shown(name),
                    key.fingerprint()
                );
                report.not_proven(line, what);
            }
            return None;
        }
        Some(signers) => signers.allow(key, name, NAMESPACE, at),
    };
    match verdict {
        Ok(allowed) => return Some(allowed.line),
        Err(why @ NotAllowed::NoSuchPerson) if declaration.stands() => {
            let what = format!("nobody vouches for {} with key {}: {why}", shown(name), key.fingerprint());
            report.not_proven(line, what);
        }
        Err(why) if declaration.stands() => {
            report.wrong(line, format!("{} may not sign with key {}: {why}", shown(name), key.fingerprint()))
        }
        Err(why) => report.note(line, format!("{} may not sign with key {}: {why}", shown(name), key.fingerprint())),
    }
    None
}
