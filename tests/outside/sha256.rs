//! The chain's hash, against FIPS 180-4 and against `sha256sum`.

use std::path::Path;
use std::process::Command;

use slotwise::record::{Event, Journal, Opened, chain, time};

use crate::collected::{collected, skipped};

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect()
}

/// The worked examples NIST gives with FIPS 180-4 (SHA256.pdf, and FIPS 180-2 appendix B): one block, two blocks, and a
/// million times `a`; and the empty message of the CAVP short messages.
#[test]
fn the_worked_examples_of_the_standard() {
    for (message, digest) in [
        ("", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        ("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (&"a".repeat(1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ] {
        assert_eq!(chain::hash(message.as_bytes()), digest);
    }
}

fn fields(path: &Path) -> Vec<(String, String)> {
    std::fs::read_to_string(path)
        .unwrap()
        .lines()
        .filter_map(|line| line.split_once(" = "))
        .map(|(key, value)| (key.trim().to_owned(), value.trim().to_owned()))
        .collect()
}

/// NIST CAVP, `SHA256ShortMsg.rsp` (public domain).
#[test]
fn the_short_messages_of_the_validation_program() {
    let Some(path) = collected("data/record/sha256/SHA256ShortMsg.rsp", "SHA-256 short messages") else { return };
    let mut cases = 0;
    for case in fields(&path).windows(3) {
        let [(len, bits), (_, message), (_, digest)] = case else { continue };
        if len != "Len" {
            continue;
        }
        let length = bits.parse::<usize>().unwrap() / 8;
        assert_eq!(chain::hash(&bytes(message)[..length]), *digest, "Len = {bits}");
        cases += 1;
    }
    assert_eq!(cases, 65);
}

/// NIST CAVP, `SHA256Monte.rsp` (public domain), after the procedure of the SHA validation system, section 6.4.
#[test]
fn the_pseudorandom_messages_of_the_validation_program() {
    let Some(path) = collected("data/record/sha256/SHA256Monte.rsp", "SHA-256 pseudorandom messages") else { return };
    let fields = fields(&path);
    let mut seed = bytes(&fields.iter().find(|(key, _)| key == "Seed").unwrap().1);
    let mut cases = 0;
    for (_, digest) in fields.iter().filter(|(key, _)| key == "MD") {
        let mut last = [seed.clone(), seed.clone(), seed];
        for _ in 0..1000 {
            let next = bytes(&chain::hash(&last.concat()));
            last.rotate_left(1);
            last[2] = next;
        }
        seed = last[2].clone();
        assert_eq!(seed, bytes(digest), "case {cases}");
        cases += 1;
    }
    assert_eq!(cases, 100);
}

/// coreutils' `head`, `tail`, `tr` and `sha256sum` follow the chain of a record without this program.
#[test]
fn stock_tools_follow_the_chain() {
    if !Command::new("sha256sum").arg("--version").output().is_ok_and(|output| output.status.success()) {
        skipped("stock_tools_follow_the_chain", "no sha256sum here");
        return;
    }
    let folder = tempfile::TempDir::new().unwrap();
    let opened: Opened = serde_json::from_str(include_str!("../record/opened.json")).unwrap();
    let at = time::parse("2026-11-25T09:30:00+01:00").unwrap();
    let mut journal = Journal::create(folder.path(), "ada", at, opened).unwrap();
    for text in ["plain", "\u{e9}\u{1f600}\u{9b}31m", "last"] {
        journal.append("ada", at, Event::Noted { step: None, text: text.to_owned() }).unwrap();
    }
    let sum = |n: usize| {
        let script = format!("head -n {n} \"$0\" | tail -n 1 | tr -d '\\n' | sha256sum");
        let output = Command::new("sh").arg("-c").arg(script).arg(journal.path()).output().unwrap();
        String::from_utf8(output.stdout).unwrap()[..64].to_owned()
    };
    let text = std::fs::read_to_string(journal.path()).unwrap();
    let prevs: Vec<String> = text
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap()["prev"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(prevs, ["0".repeat(64), sum(1), sum(2), sum(3)]);
    assert_eq!(journal.head().hash.to_string(), sum(4));
}
