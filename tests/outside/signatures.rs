//! Signatures against RFC 8032, against OpenSSH's own fixtures, and against `ssh-keygen` and `ssh-agent` themselves.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use rsa::{BigUint, Pkcs1v15Sign};
use sha2::{Digest as _, Sha256, Sha512};
use signature::{Signer as _, Verifier as _};
use slotwise::commands::audit::{Against, Report, Verdict, audit};
use slotwise::record::sign::{Hash, KnownKeys, NAMESPACE, SignerKey, Signers, Sshsig, put_string};
use ssh_key::private::Ed25519Keypair;
use ssh_key::public::{Ed25519PublicKey, KeyData};
use ssh_key::{Algorithm, Mpint, PrivateKey, Signature};

use crate::collected::{collected, skipped};
use crate::sealed;

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|n| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).unwrap()).collect()
}

/// The first 64 lines of `sign.input`, the vectors that go with Ed25519 (public domain). The first is TEST 1 of RFC 8032
/// section 7.1.
#[test]
fn ed25519_signs_as_published() {
    let Some(path) = collected("data/record/ed25519/sign.input.first64", "Ed25519 signing vectors") else { return };
    let mut cases = 0;
    for line in fs::read_to_string(path).unwrap().lines() {
        let parts: Vec<Vec<u8>> = line.split(':').map(bytes).collect();
        let seed: [u8; 32] = parts[0][..32].try_into().unwrap();
        let pair = Ed25519Keypair::from_seed(&seed);
        assert_eq!(pair.public.as_ref().as_slice(), parts[1]);
        let private = PrivateKey::from(pair);
        let made: Signature = private.try_sign(&parts[2]).unwrap();
        assert_eq!(made.as_bytes(), &parts[3][..64], "{line}");
        assert!(private.public_key().key_data().verify(&parts[2], &made).is_ok());
        cases += 1;
    }
    assert_eq!(cases, 64);
}

/// Project Wycheproof's cases for Ed25519 (Apache-2.0): what must be taken, and what must not; by the library, and by the check
/// for keys that sign many records.
#[test]
fn ed25519_refuses_what_it_must() {
    let Some(path) = collected("data/record/ed25519/wycheproof_ed25519_test.json", "Ed25519 verification vectors")
    else {
        return;
    };
    let cases: serde_json::Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
    let text = |value: &serde_json::Value| bytes(value.as_str().unwrap());
    let mut count = 0;
    for group in cases["testGroups"].as_array().unwrap() {
        let bytes: [u8; 32] = text(&group["publicKey"]["pk"]).try_into().unwrap();
        let key = KeyData::Ed25519(Ed25519PublicKey(bytes));
        let mut known = KnownKeys::default();
        for case in group["tests"].as_array().unwrap() {
            let fits = Signature::new(Algorithm::Ed25519, text(&case["sig"]))
                .is_ok_and(|signature| key.verify(&text(&case["msg"]), &signature).is_ok());
            assert_eq!(fits, case["result"] == "valid", "{case}");
            if let Ok(signature) = text(&case["sig"]).try_into() {
                // Told by itself once the key was seen often.
                let message = text(&case["msg"]);
                let told = (0..100).find_map(|_| known.has_signed(&bytes, &message, &signature));
                assert_eq!(told, Some(fits), "{case}");
            }
            count += 1;
        }
    }
    assert_eq!(count, 151);
}

/// OpenSSH's own fixtures (regress/unittests/sshsig/testdata; public domain and BSD).
#[test]
fn the_fixtures_of_openssh() {
    let Some(folder) = collected("data/record/sshsig", "OpenSSH's signature fixtures") else { return };
    let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
    let (message, namespace) = (read("signed-data"), read("namespace"));
    for kind in ["ed25519", "ecdsa", "rsa", "ed25519_sk"] {
        let signature = Sshsig::from_armour(&read(&format!("{kind}.sig"))).unwrap();
        let (key, _) = SignerKey::from_text(&read(&format!("{kind}.pub"))).unwrap();
        assert_eq!(signature.key, key, "{kind}");
        assert_eq!(signature.check_for(&namespace, message.as_bytes()), Ok(()), "{kind}");
        assert!(signature.check_for("unittes", message.as_bytes()).is_err(), "{kind}");
        assert!(signature.check(message.as_bytes()).is_err(), "{kind}");
        for at in 0..message.len() {
            let mut changed = message.clone().into_bytes();
            changed[at] ^= 1;
            assert!(signature.check_for(&namespace, &changed).is_err(), "{kind}, byte {at}");
        }
        assert_eq!(Sshsig::from_base64(&signature.to_base64()).unwrap(), signature, "{kind}");
    }
}

/// A folder with keys, and OpenSSH's programs to judge.
pub(crate) struct Shop {
    pub(crate) folder: tempfile::TempDir,
}

impl Shop {
    /// `None`, said aloud, where OpenSSH is not installed.
    pub(crate) fn open(check: &str) -> Option<Self> {
        if Command::new("ssh-keygen").arg("-?").output().is_err() {
            skipped(check, "there is no ssh-keygen (package openssh-client)");
            return None;
        }
        Some(Self { folder: tempfile::tempdir().unwrap() })
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    pub(crate) fn file(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.path(name), bytes).unwrap();
    }

    pub(crate) fn command(&self, program: &str, args: &[&str]) -> Command {
        let mut command = Command::new(program);
        command.args(args).current_dir(self.folder.path()).env_remove("SSH_AUTH_SOCK").env("TZ", "UTC");
        command
    }

    /// Runs a program to a good end.
    #[track_caller]
    pub(crate) fn run(&self, program: &str, args: &[&str]) -> Output {
        let output = self.command(program, args).stdin(Stdio::null()).output().unwrap();
        assert!(output.status.success(), "{program} {args:?}: {}", String::from_utf8_lossy(&output.stderr));
        output
    }

    pub(crate) fn key(&self, name: &str, kind: &[&str], passphrase: &str) {
        let args = [kind, &["-q", "-N", passphrase, "-C", name, "-f", name]].concat();
        self.run("ssh-keygen", &args);
    }

    /// `ssh-keygen -Y sign` over a file; the signature's armour.
    pub(crate) fn signed(&self, key: &str, message: &str, more: &[&str]) -> String {
        let _ = fs::remove_file(self.path(&format!("{message}.sig")));
        self.run("ssh-keygen", &[&["-q", "-Y", "sign", "-f", key, "-n", NAMESPACE], more, &[message]].concat());
        self.text(&format!("{message}.sig"))
    }

    /// Whether `ssh-keygen -Y verify` takes a signature over a file as Kim's, by the file `signers`.
    fn verifies(&self, message: &str, signature: &Sshsig) -> bool {
        self.file("verified.sig", signature.to_armour());
        let verify = format!("ssh-keygen -Y verify -f signers -I kim -n {NAMESPACE} -s verified.sig < {message}");
        self.command("sh", &["-c", &verify]).output().unwrap().status.success()
    }

    pub(crate) fn slotwise(&self, args: &[&str], variables: &[(&str, &str)]) -> Output {
        let mut command = self.command(env!("CARGO_BIN_EXE_slotwise"), args);
        command.envs(variables.iter().copied()).stdin(Stdio::null()).output().unwrap()
    }

    /// A small job with all its items answered.
    pub(crate) fn record(&self, name: &str) {
        let folder = self.path(&format!("{name}.folder"));
        fs::create_dir(&folder).unwrap();
        let journal = sealed::done(&folder);
        fs::copy(journal.path(), self.path(name)).unwrap();
    }

    pub(crate) fn audited(&self, record: &str, signers: &str) -> (Report, serde_json::Value) {
        let bytes = fs::read(self.path(record)).unwrap();
        let against = Against { signers: Some(Signers::read(&self.text(signers), &|_| None)), ..Against::default() };
        let output = self.slotwise(&["audit", record, "--signers", signers, "--json"], &[]);
        (audit(Path::new(record), &bytes, &against), serde_json::from_slice(&output.stdout).unwrap())
    }
}

const KINDS: [(&str, &[&str]); 7] = [
    ("ed25519", &["-t", "ed25519"]),
    ("p256", &["-t", "ecdsa", "-b", "256"]),
    ("p384", &["-t", "ecdsa", "-b", "384"]),
    ("p521", &["-t", "ecdsa", "-b", "521"]),
    ("rsa", &["-t", "rsa", "-b", "3072"]),
    // Shorter and longer than the library itself takes.
    ("short rsa", &["-t", "rsa", "-b", "1024"]),
    ("long rsa", &["-t", "rsa", "-b", "5120"]),
];

#[test]
fn what_ssh_keygen_signs_is_taken_here() {
    let Some(shop) = Shop::open("ssh-keygen -Y sign") else { return };
    for (name, kind) in KINDS {
        shop.key(name, kind, "");
        for message in ["", "x", "two\nlines\n"] {
            shop.file("message", message);
            for hash in ["sha256", "sha512"] {
                let armour = shop.signed(name, "message", &["-O", &format!("hashalg={hash}")]);
                let signature = Sshsig::from_armour(&armour).unwrap();
                assert_eq!(signature.hash.name(), hash);
                assert_eq!(signature.check(message.as_bytes()), Ok(()), "{name} {hash}");
                assert!(signature.check(b"another").is_err(), "{name} {hash}");
                assert_eq!(signature.to_armour(), armour, "{name} {hash}");
            }
        }
    }
    // Ed25519 has one signature for one message: it must be the same, byte for byte.
    let private = PrivateKey::from_openssh(shop.text("ed25519")).unwrap();
    shop.file("message", "the same");
    let theirs = shop.signed("ed25519", "message", &["-O", "hashalg=sha512"]);
    assert_eq!(sealed::signature(&private, Hash::Sha512, b"the same").to_armour(), theirs);
}

/// Some write an RSA signature without its leading zeros, which RFC 8332 forbids and OpenSSH takes.
#[test]
fn an_rsa_signature_without_its_leading_zeros_is_taken_as_ssh_keygen_takes_it() {
    let Some(shop) = Shop::open("an RSA signature that begins with a zero") else { return };
    shop.key("rsa", &["-t", "rsa", "-b", "1024"], "");
    shop.file("signers", format!("kim {}", shop.text("rsa.pub")));
    let private = PrivateKey::from_openssh(shop.text("rsa")).unwrap();
    let pair = private.key_data().rsa().unwrap();
    let number = |number: &Mpint| BigUint::from_bytes_be(number.as_positive_bytes().unwrap());
    let (public, secret) = (&pair.public, &pair.private);
    let primes = vec![number(&secret.p), number(&secret.q)];
    let secret =
        rsa::RsaPrivateKey::from_components(number(&public.n), number(&public.e), number(&secret.d), primes).unwrap();
    let made = |message: &str| {
        let bytes = Sshsig::to_be_signed(NAMESPACE, Hash::Sha512, &Hash::Sha512.of(message.as_bytes()));
        secret.sign(Pkcs1v15Sign::new::<Sha512>(), &Sha512::digest(bytes)).unwrap()
    };
    // One in 256 is such a one.
    let message = (0..100_000).map(|n| n.to_string()).find(|message| made(message)[0] == 0).unwrap();
    shop.file("message", &message);
    let whole = made(&message);
    let shorter = whole.iter().position(|byte| *byte != 0).unwrap();
    for (written, taken) in [(&whole[..], true), (&whole[shorter..], true), (&whole[shorter + 1..], false)] {
        let mut signature = Vec::new();
        put_string(&mut signature, b"rsa-sha2-512");
        put_string(&mut signature, written);
        let (key, _) = SignerKey::from_text(&shop.text("rsa.pub")).unwrap();
        let signature = Sshsig { key, namespace: NAMESPACE.to_owned(), hash: Hash::Sha512, signature };
        assert_eq!(signature.check(message.as_bytes()).is_ok(), taken);
        assert_eq!(shop.verifies("message", &signature), taken);
    }
}

/// What both kinds of security keys would sign, made by keys of their kind without a device (PROTOCOL.u2f): taken as
/// `ssh-keygen` takes it, and like it refused with anything behind it.
#[test]
fn what_security_keys_sign_is_taken_as_ssh_keygen_takes_it() {
    let Some(shop) = Shop::open("signatures of security keys") else { return };
    const APPLICATION: &[u8] = b"ssh:";
    let (present, count) = ([1], [0, 0, 0, 7]);
    shop.file("message", "x");
    let bytes = Sshsig::to_be_signed(NAMESPACE, Hash::Sha512, &Hash::Sha512.of(b"x"));
    for (name, kind) in KINDS.into_iter().filter(|(name, _)| ["ed25519", "p256"].contains(name)) {
        shop.key(name, kind, "");
        let private = PrivateKey::from_openssh(shop.text(name)).unwrap();
        let mut blob = Vec::new();
        let kind: &[u8] = match private.public_key().key_data() {
            KeyData::Ecdsa(key) => {
                put_string(&mut blob, b"nistp256");
                put_string(&mut blob, key.as_sec1_bytes());
                b"sk-ecdsa-sha2-nistp256@openssh.com"
            }
            key => {
                put_string(&mut blob, &key.ed25519().unwrap().0);
                b"sk-ssh-ed25519@openssh.com"
            }
        };
        put_string(&mut blob, APPLICATION);
        let mut key = Vec::new();
        put_string(&mut key, kind);
        key.extend(blob);
        let key = SignerKey::from_blob(&key).unwrap();
        shop.file("signers", format!("kim {}\n", key.text()));
        let device = [&Sha256::digest(APPLICATION)[..], &present, &count, &Sha256::digest(&bytes)].concat();
        let made: Signature = private.try_sign(&device).unwrap();
        for (behind, taken) in [(&b""[..], true), (b"\0", false), (b"\0\0\0\0", false)] {
            let mut signature = Vec::new();
            put_string(&mut signature, kind);
            put_string(&mut signature, made.as_bytes());
            signature.extend([&present[..], &count, behind].concat());
            let signature = Sshsig { key: key.clone(), namespace: NAMESPACE.to_owned(), hash: Hash::Sha512, signature };
            assert_eq!(signature.check(b"x").is_ok(), taken, "{name} {behind:?}");
            assert_eq!(shop.verifies("message", &signature), taken, "{name} {behind:?}");
        }
    }
}

/// Runs exactly the lines that `audit` prints, in a shell, and gives what ssh-keygen says.
#[track_caller]
fn follow(shop: &Shop, told: &serde_json::Value) -> String {
    let mut said = String::new();
    for signature in told[0]["signatures"].as_array().unwrap() {
        for line in signature["check"].as_array().unwrap() {
            let line = line.as_str().unwrap();
            let output = shop.command("sh", &["-c", line]).output().unwrap();
            let text =
                format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
            assert!(output.status.success(), "{line}\n{text}");
            said += &text;
        }
    }
    said
}

#[test]
fn what_is_signed_here_is_good_to_ssh_keygen_by_the_lines_audit_prints() {
    let Some(shop) = Shop::open("ssh-keygen -Y verify") else { return };
    shop.key("plain", &["-t", "ed25519"], "");
    shop.file("word", "open sesame\n");
    let mut cases = vec![("plain".to_owned(), Vec::new(), Vec::new())];
    for cipher in ["aes256-ctr", "aes256-cbc", "aes256-gcm@openssh.com", "chacha20-poly1305@openssh.com"] {
        let name = format!("locked-{}", cipher.split('@').next().unwrap());
        shop.key(&name, &["-t", "ed25519", "-Z", cipher], "open sesame");
        cases.push((name.clone(), vec!["--passphrase-file", "word"], Vec::new()));
        cases.push((name, Vec::new(), vec![("SLOTWISE_PASSPHRASE", "open sesame")]));
    }
    shop.key("sam", &["-t", "ed25519"], "");
    for (n, (key, more, variables)) in cases.into_iter().enumerate() {
        let record = format!("job {n}'s.jsonl");
        shop.record(&record);
        let args = [&["sign", &record, "--role", "technician", "--key", &key][..], &more].concat();
        let signed = shop.slotwise(&args, &variables);
        assert!(signed.status.success(), "{key}: {}", String::from_utf8_lossy(&signed.stderr));
        let args = ["sign", &record, "--role", "supervisor", "--name", "sam at the desk", "--key", "sam"];
        let signed = shop.slotwise(&args, &[]);
        assert!(signed.status.success(), "{}", String::from_utf8_lossy(&signed.stderr));
        let names = shop.text(&format!("{key}.pub"));
        shop.file("signers", format!("ada {names}\"sam at the desk\" {}", shop.text("sam.pub")));
        let (report, told) = shop.audited(&record, "signers");
        assert_eq!(report.verdict, Verdict::Proven, "{:#?}", report.troubles);
        let said = follow(&shop, &told);
        assert_eq!(said.matches("Good \"slotwise-record\" signature for").count(), 2, "{said}");
        // The text for people holds the same lines.
        let shown = shop.slotwise(&["audit", &record, "--signers", "signers"], &[]);
        let shown = String::from_utf8(shown.stdout).unwrap();
        for line in told[0]["signatures"][0]["check"].as_array().unwrap() {
            assert!(shown.contains(line.as_str().unwrap()), "{shown}");
        }
    }
    // And by the same lines a changed record is not good.
    let record = "job 0's.jsonl";
    let (_, told) = shop.audited(record, "signers");
    shop.file("signers", format!("ada {}\"sam at the desk\" {}", shop.text("plain.pub"), shop.text("sam.pub")));
    shop.file(record, shop.text(record).replacen("both latches closed", "both latches opened", 1));
    let line = told[0]["signatures"][0]["check"][1].as_str().unwrap();
    assert!(!shop.command("sh", &["-c", line]).output().unwrap().status.success());
}

/// The commands of docs/record.md, followed to the letter.
#[test]
fn the_page_on_records_says_how_to_check_one() {
    let Some(shop) = Shop::open("the commands of docs/record.md") else { return };
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/record.md")).unwrap();
    let part = page.split("## Checking without this program").nth(1).unwrap();
    let mut blocks = part.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap());
    let (signature, chain) = (blocks.next().unwrap(), blocks.next().unwrap());
    shop.record("RECORD");
    shop.key("kim", &["-t", "ed25519"], "");
    let signed = shop.slotwise(&["sign", "RECORD", "--role", "technician", "--key", "kim"], &[]);
    assert!(signed.status.success(), "{}", String::from_utf8_lossy(&signed.stderr));
    let technician = "ada";
    shop.file("SIGNERS", format!("{technician} {}", shop.text("kim.pub")));
    let (report, _) = shop.audited("RECORD", "SIGNERS");
    let told = &report.signatures[0];
    let at = told.at.naive_utc().format("%Y%m%d%H%M%SZ").to_string();
    let signature =
        signature.replace("144", &(told.declared + 1).to_string()).replace("143", &told.declared.to_string());
    let signature = signature.replace("20261125124512Z", &at).replace("-I kim", &format!("-I {technician}"));
    let said = shop.run("sh", &["-c", &signature]);
    let said = String::from_utf8(said.stdout).unwrap();
    assert!(said.contains(&format!("Good \"slotwise-record\" signature for {technician}")), "{said}");
    let said = String::from_utf8(shop.run("sh", &["-c", chain]).stdout).unwrap();
    assert_eq!(said.trim(), format!("whole, fingerprint {}", report.fingerprint.replace('-', "")));
    shop.file("RECORD", shop.text("RECORD").replacen("latches closed", "latches opened", 1));
    let output = shop.command("sh", &["-c", chain]).output().unwrap();
    assert!(String::from_utf8_lossy(&output.stdout).starts_with("broken at: {\"n\":2"), "{output:?}");
}

/// The commands of logs-example/README.md, followed to the letter.
#[test]
fn the_examples_are_checked_as_their_page_says() {
    let Some(shop) = Shop::open("the commands of logs-example/README.md") else { return };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("logs-example");
    for name in ["README.md", "signers", "seating.jsonl", "slot.jsonl"] {
        shop.file(name, fs::read(folder.join(name)).unwrap());
    }
    let page = shop.text("README.md");
    let blocks: Vec<&str> = page.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap()).collect();
    let script = blocks.last().unwrap().replace("/tmp/", "./");
    let said = String::from_utf8(shop.run("sh", &["-c", &script]).stdout).unwrap();
    assert_eq!(said.matches("Good \"slotwise-record\" signature").count(), 2, "{said}");
    let mut changed = fs::read(shop.path("slot.jsonl")).unwrap();
    changed[2_000] ^= 1;
    shop.file("slot.jsonl", changed);
    let output = shop.command("sh", &["-c", &script]).output().unwrap();
    assert!(!String::from_utf8_lossy(&output.stdout).contains("Good"), "{output:?}");
    // What the chain's two lines show is the same.
    let chain = blocks[0].lines().map(|line| shop.run("sh", &["-c", line]).stdout);
    let shown: Vec<String> = chain.map(|text| String::from_utf8(text).unwrap()).collect();
    let hash = shown[1].split(' ').next().unwrap();
    assert_eq!(shown[0].trim(), format!("\"prev\":\"{hash}\""));
}

/// A wrong passphrase, or none and nobody to ask, signs nothing.
#[test]
fn a_key_that_does_not_open_leaves_the_record_as_it_was() {
    let Some(shop) = Shop::open("a wrong passphrase") else { return };
    shop.key("locked", &["-t", "ed25519"], "open sesame");
    shop.key("rsa", &["-t", "rsa", "-b", "3072"], "");
    shop.record("job.jsonl");
    let before = shop.text("job.jsonl");
    for (key, variables, code, says) in [
        ("locked", &[("SLOTWISE_PASSPHRASE", "open says me")][..], 65, "the passphrase does not open locked"),
        ("locked", &[], 2, "no terminal to ask"),
        ("rsa", &[], 65, "sign with --agent"),
        ("rsa.pub", &[], 66, "SSH_AUTH_SOCK"),
        ("job.jsonl", &[], 65, "no private key"),
        ("gone", &[], 66, "cannot read gone"),
    ] {
        let output = shop.slotwise(&["sign", "job.jsonl", "--role", "technician", "--key", key], variables);
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{key}: {stderr}");
        assert!(stderr.contains(says), "{stderr}");
        assert_eq!(shop.text("job.jsonl"), before);
    }
}

/// An agent of the test's own, ended with it.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn agent(shop: &Shop) -> Running {
    let socket = shop.path("agent");
    let child = shop
        .command("ssh-agent", &["-D", "-a", socket.to_str().unwrap()])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let running = Running(child);
    for _ in 0..200 {
        if socket.exists() {
            return running;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    panic!("ssh-agent does not start");
}

#[test]
fn every_kind_of_key_an_agent_holds_signs() {
    let Some(shop) = Shop::open("ssh-agent") else { return };
    let _running = agent(&shop);
    let socket = shop.path("agent");
    let socket = [("SSH_AUTH_SOCK", socket.to_str().unwrap())];
    for (name, kind) in KINDS {
        shop.key(name, kind, "");
        let added = shop.command("ssh-add", &["-q", name]).envs(socket).output().unwrap();
        assert!(added.status.success(), "{}", String::from_utf8_lossy(&added.stderr));
        let record = format!("{name}.jsonl");
        shop.record(&record);
        let wanted = if name == "rsa" {
            SignerKey::from_text(&shop.text("rsa.pub")).unwrap().0.fingerprint()
        } else {
            format!("{name}.pub")
        };
        let args = ["sign", &record, "--role", "technician", "--agent", "--key", &wanted];
        let signed = shop.slotwise(&args, &socket);
        assert!(signed.status.success(), "{name}: {}", String::from_utf8_lossy(&signed.stderr));
        shop.file("signers", format!("ada {}", shop.text(&format!("{name}.pub"))));
        let (report, told) = shop.audited(&record, "signers");
        assert_eq!(report.verdict, Verdict::Proven, "{name}: {:#?}", report.troubles);
        assert!(follow(&shop, &told).contains("Good"), "{name}");
    }
    // Several keys and none named: it does not guess.
    shop.record("job.jsonl");
    let unsaid = shop.slotwise(&["sign", "job.jsonl", "--role", "technician", "--agent"], &socket);
    assert_eq!(unsaid.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unsaid.stderr).contains("--key SHA256:"));
    // The fingerprints named are those that `ssh-keygen -l` shows.
    for (name, _) in KINDS {
        let shown = shop.run("ssh-keygen", &["-l", "-f", &format!("{name}.pub")]);
        let ours = SignerKey::from_text(&shop.text(&format!("{name}.pub"))).unwrap().0.fingerprint();
        assert!(String::from_utf8_lossy(&shown.stdout).contains(&ours), "{name}");
    }
}
