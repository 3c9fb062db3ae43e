//! Signers files and lists of revoked keys, each case judged by `ssh-keygen` itself.

use std::fs;
use std::io::Write as _;
use std::process::Stdio;

use slotwise::record::sign::{Hash, NAMESPACE, Revoked, SignerKey, Signers, Sshsig};
use ssh_key::PrivateKey;

use crate::sealed;
use crate::signatures::Shop;

/// Whether ssh-keygen takes a signature with this signers file.
pub fn judged(shop: &Shop, signature: &str, principal: &str, time: &str, zone: &str, revoked: Option<&str>) -> bool {
    shop.file("judged.sig", signature);
    let time = format!("verify-time={time}");
    let mut args =
        vec!["-Y", "verify", "-f", "signers", "-I", principal, "-n", NAMESPACE, "-O", &time, "-s", "judged.sig"];
    if let Some(file) = revoked {
        args.extend(["-r", file]);
    }
    let mut child = shop
        .command("ssh-keygen", &args)
        .env("TZ", zone)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"message").unwrap();
    child.wait().unwrap().success()
}

/// Two hours east of Greenwich, all year.
pub const EAST: &str = "EET-2";

pub fn east(at: chrono::NaiveDateTime) -> Option<i64> {
    Some((at - chrono::TimeDelta::hours(2)).and_utc().timestamp())
}

pub fn seconds(time: &str) -> i64 {
    chrono::NaiveDateTime::parse_from_str(time, "%Y%m%d%H%M%SZ").unwrap().and_utc().timestamp()
}

/// Cases written from ssh-keygen(1), ALLOWED SIGNERS; ssh-keygen judges each, and its word counts.
#[test]
fn the_signers_file_is_read_as_ssh_keygen_reads_it() {
    let Some(shop) = Shop::open("allowed signers") else { return };
    shop.file("message", "message");
    for name in ["kim", "sam", "authority"] {
        shop.key(name, &["-t", "ed25519"], "");
    }
    shop.key("rsa", &["-t", "rsa", "-b", "3072"], "");
    let certify = |name: &str, more: &[&str]| {
        fs::copy(shop.path("kim"), shop.path(name)).unwrap();
        fs::copy(shop.path("kim.pub"), shop.path(&format!("{name}.pub"))).unwrap();
        shop.run("ssh-keygen", &[&["-q", "-s", "authority", "-I", name], more, &[&format!("{name}.pub")]].concat());
        shop.signed(&format!("{name}-cert.pub"), "message", &[])
    };
    let signatures = [
        ("kim", shop.signed("kim", "message", &[])),
        ("rsa", shop.signed("rsa", "message", &[])),
        ("cert", certify("cert", &["-n", "kim,kim@larkfield", "-V", "20260101000000Z:20270101000000Z", "-z", "7"])),
        ("nobody's", certify("nobody", &["-V", "20260101000000Z:20270101000000Z"])),
        ("machine's", certify("machine", &["-h", "-n", "kim", "-V", "20260101000000Z:20270101000000Z"])),
        ("forced", certify("forced", &["-n", "kim", "-O", "force-command=true", "-V", "always:forever"])),
    ];
    let files = [
        "kim {kim}",
        "  kim {kim}  ",
        "\tkim\t{kim}\r",
        "# kim {kim}",
        "kim,sam {kim}",
        "k* {kim}",
        "k?m {kim}",
        "*,!kim {kim}",
        "!sam,* {kim}",
        "!sam {kim}",
        "\"kim\" {kim}",
        "\"kim,sam\" {kim}",
        "KIM {kim}",
        "sam {kim}",
        "kim {sam}",
        "kim {sam}\nkim {kim}",
        "kim nonsense\nkim {kim}",
        "kim\nkim {kim}",
        "kim namespaces=\"{ns}\" {kim}",
        "kim NAMESPACES=\"{ns}\" {kim}",
        "kim namespaces=\"git,{ns}\" {kim}",
        "kim namespaces=\"slotwise-*\" {kim}",
        "kim namespaces=\"*,!{ns}\" {kim}",
        "kim namespaces=\"git\" {kim}",
        "kim namespaces=\"\" {kim}",
        "kim namespaces={ns} {kim}",
        "kim namespaces=\"{ns}\",namespaces=\"{ns}\" {kim}",
        "kim namespaces=\"{ns}\", {kim}",
        "kim namespaces=\"{ns}\",unknown {kim}",
        "kim unknown=\"x\" {kim}",
        "kim namespaces=\"git\" {kim}\nkim {kim}",
        "kim valid-after=\"20260601\" {kim}",
        "kim valid-after=\"20260601Z\" {kim}",
        "kim valid-after=\"202606011200\" {kim}",
        "kim valid-after=\"202606011200Z\" {kim}",
        "kim valid-after=\"20260601120001Z\" {kim}",
        "kim valid-after=\"20260601140000\" {kim}",
        "kim valid-after=\"20260601140001\" {kim}",
        "kim valid-before=\"20260601120000Z\" {kim}",
        "kim valid-before=\"20260601115959Z\" {kim}",
        "kim valid-before=\"20260601140000\" {kim}",
        "kim valid-before=\"20260601135959\" {kim}",
        "kim valid-before=\"20260601120000UTC\" {kim}",
        "kim valid-before=\"2026060112\" {kim}",
        "kim valid-before=\"20261301\" {kim}",
        "kim valid-before=\"nonsense\" {kim}",
        "kim valid-after=\"20260101\",valid-before=\"20270101\" {kim}",
        "kim valid-after=\"20270101\",valid-before=\"20260101\" {kim}",
        "kim valid-after=\"20260101\",valid-after=\"20260101\" {kim}",
        "kim cert-authority {kim}",
        "kim cert-authority {authority}",
        "kim CERT-AUTHORITY {authority}",
        "k* cert-authority,namespaces=\"{ns}\" {authority}",
        "kim cert-authority,valid-before=\"20260601115959Z\" {authority}",
        "kim@larkfield cert-authority {authority}",
        "*@larkfield cert-authority {authority}",
        "* cert-authority {authority}",
        "kim cert-authority {sam}",
        "kim {authority}",
        "kim {cert}",
        "* {cert}",
        "kim {rsa}",
        "kim ssh-rsa {kim-base64}",
        "kim ssh-ed25519",
        "kim ssh-ed25519 {kim-base64} a comment with \"quotes",
        "",
        "\n\n",
    ];
    let (mut cases, mut good) = (0, 0);
    for file in files {
        let kim = shop.text("kim.pub");
        let mut text = file.replace("{ns}", NAMESPACE).replace("{kim-base64}", kim.split(' ').nth(1).unwrap());
        text = text.replace("{cert}", shop.text("cert-cert.pub").trim());
        for name in ["kim", "sam", "rsa", "authority"] {
            text = text.replace(&format!("{{{name}}}"), shop.text(&format!("{name}.pub")).trim());
        }
        text.push('\n');
        shop.file("signers", &text);
        let ours = Signers::read(&text, &east);
        for (name, armour) in &signatures {
            let signature = Sshsig::from_armour(armour).unwrap();
            assert_eq!(signature.check(b"message"), Ok(()), "{name}");
            for (principal, time) in [
                ("kim", "20260601120000Z"),
                ("kim@larkfield", "20260601120000Z"),
                ("kim", "20251231235959Z"),
                ("kim", "20270101000000Z"),
            ] {
                let here = ours.allow(&signature.key, principal, NAMESPACE, seconds(time));
                let there = judged(&shop, armour, principal, time, EAST, None);
                assert_eq!(here.is_ok(), there, "{file}\n{name} as {principal} at {time}: {here:?}");
                cases += 1;
                good += usize::from(there);
            }
        }
    }
    assert!(good > 100 && cases - good > 100, "{good} of {cases}");
}

/// A time without `Z` is local time, and where clocks change, standard time all year: ssh-keygen's word again.
#[test]
fn a_local_time_is_read_as_ssh_keygen_reads_it() {
    let Some(shop) = Shop::open("local times of allowed signers") else { return };
    shop.key("ada", &["-t", "ed25519"], "");
    shop.file("message", "message");
    let armour = shop.signed("ada", "message", &[]);
    let private = PrivateKey::from_openssh(shop.text("ada")).unwrap();
    let mut good = 0;
    for (n, signed_at) in
        ["20260630220000Z", "20260630230000Z", "20260701000000Z", "20260630215959Z"].iter().enumerate()
    {
        let folder = shop.path(&format!("{n}"));
        fs::create_dir(&folder).unwrap();
        let mut journal = sealed::done(&folder);
        let minutes = (seconds(signed_at) - sealed::at(0).timestamp()).div_euclid(60);
        sealed::seal(&mut journal, minutes, "ada", slotwise::record::Role::Technician, &private, Hash::Sha256);
        let whole_minute = sealed::at(minutes).naive_utc().format("%Y%m%d%H%M%SZ").to_string();
        fs::copy(journal.path(), shop.path("job.jsonl")).unwrap();
        for zone in ["UTC", "CET-1CEST,M3.5.0,M10.5.0/3", "EST5EDT,M3.2.0,M11.1.0", "NZST-12NZDT,M9.5.0,M4.1.0/3", EAST]
        {
            for limit in
                ["valid-after=\"20260701000000\"", "valid-before=\"20260701010000\"", "valid-after=\"20260701\""]
            {
                shop.file("signers", format!("ada {limit} {}", shop.text("ada.pub")));
                let mut command = shop
                    .command(env!("CARGO_BIN_EXE_slotwise"), &["audit", "job.jsonl", "--signers", "signers", "--json"]);
                let output = command.env("TZ", zone).output().unwrap();
                let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
                let here = !told[0]["signatures"][0]["allowed_by"].is_null();
                let there = judged(&shop, &armour, "ada", &whole_minute, zone, None);
                assert_eq!(here, there, "{limit} in {zone} at {whole_minute}");
                good += usize::from(there);
            }
        }
    }
    assert!((10..50).contains(&good), "{good}");
}

/// Lists of revoked keys in both forms, judged by ssh-keygen.
#[test]
fn revoked_keys_are_those_ssh_keygen_takes_for_revoked() {
    let Some(shop) = Shop::open("revoked keys") else { return };
    shop.file("message", "message");
    for name in ["kim", "sam", "authority", "other"] {
        shop.key(name, &["-t", "ed25519"], "");
    }
    let certify = |serial: &str| {
        let name = format!("cert{serial}");
        fs::copy(shop.path("kim"), shop.path(&name)).unwrap();
        fs::copy(shop.path("kim.pub"), shop.path(&format!("{name}.pub"))).unwrap();
        let public = format!("{name}.pub");
        shop.run("ssh-keygen", &["-q", "-s", "authority", "-I", &name, "-n", "kim", "-z", serial, &public]);
        shop.signed(&format!("{name}-cert.pub"), "message", &[])
    };
    let signatures = [shop.signed("kim", "message", &[]), certify("0"), certify("7"), certify("70"), certify("900")];
    let signers = format!("kim {}kim cert-authority {}", shop.text("kim.pub"), shop.text("authority.pub"));
    shop.file("signers", &signers);
    let fingerprint = SignerKey::from_text(&shop.text("kim.pub")).unwrap().0.fingerprint();
    let specifications = [
        String::new(),
        shop.text("kim.pub"),
        shop.text("sam.pub"),
        shop.text("authority.pub"),
        format!("key: {}", shop.text("kim.pub")),
        format!("hash: {fingerprint}"),
        "serial: 7".to_owned(),
        "serial: 7-70".to_owned(),
        "serial: 1\nserial: 3\nserial: 5\nserial: 7\nserial: 9\nserial: 70\nserial: 71".to_owned(),
        "serial: 70-100000".to_owned(),
        "id: cert7".to_owned(),
        "id: cert70\nid: cert0".to_owned(),
        shop.text("cert7-cert.pub"),
    ];
    let mut revoked = 0;
    let mut compare = |name: &str| {
        let list = Revoked::read(&fs::read(shop.path(name)).unwrap()).unwrap();
        for (n, armour) in signatures.iter().enumerate() {
            let signature = Sshsig::from_armour(armour).unwrap();
            let there = judged(&shop, armour, "kim", "20261125120000Z", "UTC", Some(name));
            assert_eq!(!list.has(&signature.key), there, "{name}, signature {n}");
            revoked += usize::from(!there);
        }
    };
    for (n, specification) in specifications.iter().enumerate() {
        shop.file("specification", specification);
        for authority in ["authority.pub", "other.pub"] {
            let list = format!("list-{n}-{authority}");
            shop.run("ssh-keygen", &["-q", "-k", "-f", &list, "-s", authority, "specification"]);
            compare(&list);
        }
    }
    for (n, text) in [
        shop.text("kim.pub"),
        shop.text("authority.pub"),
        format!("# none\n\n{}", shop.text("sam.pub")),
        format!("{}{}", shop.text("sam.pub"), shop.text("kim.pub")),
    ]
    .iter()
    .enumerate()
    {
        let name = format!("keys-{n}");
        shop.file(&name, text);
        compare(&name);
    }
    assert!(revoked > 20, "{revoked}");
    // Half a list revokes nobody for certain, so it is no list.
    let whole = fs::read(shop.path("list-8-authority.pub")).unwrap();
    assert!((1..whole.len()).filter(|end| Revoked::read(&whole[..*end]).is_ok()).count() < 3);
}
