//! Odd lines of a signers file: white space of every kind, names in quotes, empty and doubled options, dates no calendar has,
//! names of keys. None of it is in the manual to the letter, so `ssh-keygen` (OpenSSH) judges every line.

use slotwise::record::sign::{NAMESPACE, Signers, Sshsig};

use crate::signatures::Shop;
use crate::signers::{EAST, east, judged, seconds};

/// Lines with one white space, or what might pass for it, in every place.
fn spaced(white: &str) -> Vec<String> {
    [
        "_kim {kim}",
        "kim_{kim}",
        "kim _{kim}",
        "\"kim\"_{kim}",
        "kim ssh-ed25519_{base64}",
        "kim ssh-ed25519 _{base64}",
        "kim ssh-ed25519 {base64}_",
        "kim ssh-ed25519 {base64}_x",
        "kim ssh-ed25519 {base64} _x",
        "kim ssh-ed25519 {first}_{second}",
        "kim namespaces=\"{ns}\"_{kim}",
        "kim namespaces=\"{ns}\" _{kim}",
        "kim namespaces=\"{ns}\",_cert-authority {kim}",
        "kim valid-before=\"20270101_\" {kim}",
        "_\nkim {kim}",
        "sam_\nkim {kim}",
    ]
    .iter()
    .map(|line| line.replace('_', white))
    .collect()
}

const NAMES: [&str; 28] = [
    "\"kim\"",
    "ki\"m\"",
    "\"ki\"m",
    "\"kim sam\"",
    "\"\"kim",
    "kim\"\"",
    "kim,",
    ",kim",
    ",,kim",
    "!sam,kim",
    "!!kim",
    "! kim",
    "kim,!kim",
    "**",
    "k**m",
    "k\\im",
    "\"\"",
    "'kim'",
    "kim;sam",
    "kim, sam",
    "kim ,sam",
    "sam,\"kim\"",
    "!\"sam\",kim",
    "#kim",
    "\"#kim\",kim",
    "[k]im",
    "kim\"",
    "\"kim",
];

const OPTIONS: [&str; 34] = [
    "cert-authority,cert-authority",
    "Namespaces=\"{ns}\"",
    "Valid-Before=\"20270101\"",
    ",",
    "namespaces=\"{ns}\",,valid-after=\"20260101\"",
    ",namespaces=\"{ns}\"",
    ",,namespaces=\"git\"",
    "namespaces=\"{ns}\" ,",
    "namespaces=\"{ns}\",,",
    "namespaces",
    "namespaces=",
    "namespaces=\"",
    "namespaces=\"{ns},a b\"",
    "namespaces=\"a\\\"b,{ns}\"",
    "namespaces=\"{ns}\\\"\"",
    "namespaces=\"{ns}\"x",
    "namespaces =\"{ns}\"",
    "namespaces= \"{ns}\"",
    "namespaces='{ns}'",
    "no-cert-authority",
    "namespaces=\" {ns}\"",
    "namespaces=\"{NS}\"",
    "namespaces=\",\"",
    "namespaces=\"!git\"",
    "namespaces=\"!git,*\"",
    "verify-required",
    "valid-after=20260101",
    "valid-before=\"20270101\",valid-before=\"20270101\"",
    "\"namespaces={ns}\"",
    "\"\"",
    "\"",
    "\\\"",
    "#",
    "namespaces=\"{ns}\"#",
];

const TIMES: [&str; 34] = [
    "20260231",
    "20260431",
    "20260229",
    "20260531Z",
    "20260001",
    "20260100",
    "20260132",
    "202606012359",
    "202606012460",
    "202606012400",
    "20260601115960Z",
    "20260601115961Z",
    "20260601115962Z",
    "20260631Z",
    "2026 6 1",
    "2026 6 1Z",
    "20 6 1 1",
    "  26 1 1",
    "2026 11 ",
    "2026+6+1",
    "2026-6-1",
    "20260601T",
    "2026060",
    "Z",
    "UTC",
    "20260601z",
    "20260601utc",
    "20260601 Z",
    "19700101Z",
    "19700101000001Z",
    "00010101",
    "99991231235959Z",
    "2026060112 0",
    "20260601 000",
];

const TYPES: [(&str, &str); 14] = [
    ("SSH-ED25519", "kim"),
    ("ed25519", "kim"),
    ("ED25519", "kim"),
    ("ssh-ed25519-cert-v01@openssh.com", "kim"),
    ("ssh-rsa", "kim"),
    ("ssh-rsa", "rsa"),
    ("RSA", "rsa"),
    ("rsa-sha2-256", "rsa"),
    ("rsa-sha2-512", "rsa"),
    ("rsa-sha2-384", "rsa"),
    ("rsa-sha2-512-cert-v01@openssh.com", "rsa"),
    ("ssh-rsa-cert-v01@openssh.com", "cert"),
    ("rsa-sha2-256-cert-v01@openssh.com", "cert"),
    ("rsa-sha2-512", "cert"),
];

#[test]
fn odd_lines_are_read_as_ssh_keygen_reads_them() {
    let Some(shop) = Shop::open("odd lines of allowed signers") else { return };
    shop.file("message", "message");
    shop.key("kim", &["-t", "ed25519"], "");
    shop.key("rsa", &["-t", "rsa", "-b", "2048"], "");
    shop.key("authority", &["-t", "ed25519"], "");
    shop.run("ssh-keygen", &["-q", "-s", "authority", "-I", "rsa", "-n", "kim", "rsa.pub"]);
    std::fs::rename(shop.path("rsa-cert.pub"), shop.path("cert.pub")).unwrap();
    let line = |name: &str| shop.text(&format!("{name}.pub")).trim().to_owned();
    let base64 = |name: &str| line(name).split(' ').nth(1).unwrap().to_owned();
    let mut lines: Vec<String> =
        ["\r", "\r\t ", "\x0b", "\x0c", "\u{a0}", "\u{feff}", "\0", "\t \t"].into_iter().flat_map(spaced).collect();
    lines.extend(NAMES.iter().flat_map(|names| [format!("{names} {{kim}}"), format!("{names}{{kim}}")]));
    lines.extend(OPTIONS.iter().map(|options| format!("kim {options} {{kim}}")));
    for time in TIMES {
        lines.extend(["after", "before"].map(|which| format!("kim valid-{which}=\"{time}\" {{kim}}")));
    }
    lines.extend(TYPES.iter().map(|(kind, name)| format!("kim {kind} {}", base64(name))));
    for behind in ["=", "==", "AAAA", "x", "#x", " =", "\"", "\\"] {
        lines.push(format!("kim ssh-ed25519 {{base64}}{behind}"));
        lines.push(format!("kim ssh-rsa {}{behind}", base64("rsa").trim_end_matches('=')));
    }
    for length in [1021, 1022, 1023, 1024, 3000] {
        let long = "a".repeat(length);
        lines.extend([format!("{long},kim {{kim}}"), format!("kim,{long} {{kim}}"), format!("!{long},kim {{kim}}")]);
        lines.push(format!("kim namespaces=\"{{ns}},{long}\" {{kim}}"));
    }
    lines.extend(["kim \"{kim}\"", "kim {base64}", "{kim}", "kim kim {kim}", "kim {kim}\n\0"].map(str::to_owned));
    let signatures: Vec<(&str, String)> =
        ["kim", "rsa"].into_iter().map(|name| (name, shop.signed(name, "message", &[]))).collect();
    std::fs::copy(shop.path("rsa"), shop.path("cert")).unwrap();
    let certified = [("cert", shop.signed("cert.pub", "message", &[]))];
    let signatures = [signatures, certified.to_vec()].concat();
    let (kim, kim64) = (line("kim"), base64("kim"));
    let (first, second) = kim64.split_at(20);
    let (mut cases, mut good, mut differ) = (0, 0, Vec::new());
    for line in &lines {
        let mut text = line.replace("{kim}", &kim).replace("{base64}", &kim64).replace("{ns}", NAMESPACE);
        text = text.replace("{first}", first).replace("{second}", second).replace("{NS}", &NAMESPACE.to_uppercase());
        text.push('\n');
        shop.file("signers", &text);
        let ours = Signers::read(&text, &east);
        for (name, armour) in &signatures {
            let about_rsa = line.contains("rsa");
            if about_rsa == (*name == "kim") {
                continue;
            }
            let signature = Sshsig::from_armour(armour).unwrap();
            let times: &[&str] = if line.contains("valid-") {
                &[
                    "20260302220000Z",
                    "20260302215959Z",
                    "20260531235959Z",
                    "20260601120000Z",
                    "20260601120001Z",
                    "20260701000000Z",
                ]
            } else {
                &["20260601120000Z"]
            };
            for time in times {
                let here = ours.allow(&signature.key, "kim", NAMESPACE, seconds(time)).is_ok();
                let there = judged(&shop, armour, "kim", time, EAST, None);
                if here != there {
                    let line: String = line.chars().take(100).collect();
                    differ.push(format!("{line:?} for {name} at {time}: here {here}, ssh-keygen {there}"));
                }
                cases += 1;
                good += usize::from(there);
            }
        }
    }
    assert!(differ.is_empty(), "{}", differ.join("\n"));
    assert!(good > 100 && cases - good > 100, "{good} of {cases}");
}
