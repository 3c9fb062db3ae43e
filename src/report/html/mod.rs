//! One record, and one slip, as a page: one file, no network, no script, to read on a screen, aloud and on paper.
//!
//! Every value of the record is put in by [`said`], which cleans it to printable ASCII; the template escapes what is left of
//! markup. The page's policy allows nothing but its own style, by hash.

mod barcode;
mod map;
mod record;
mod slip;
mod style;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

pub use record::page;
pub use slip::slip_page;

use super::story::{About, Amended};
use super::words::clean;

/// A value of the record. Isolated, so that nothing in it could change the order of the text around it.
fn said(text: &str) -> Markup {
    html! { bdi { (clean(text).as_str()) } }
}

/// Names and values.
fn facts<'a>(facts: impl IntoIterator<Item = (&'a str, &'a str)>) -> Markup {
    html! {
        dl {
            @for (name, value) in facts {
                div { dt { (name) } dd { (said(value)) } }
            }
        }
    }
}

/// What was amended of the line it stands beside.
fn amended(told: &[Amended]) -> Markup {
    html! { @for one in told { p class="amended" { (said(&one.beside())) } } }
}

/// The whole page around `body`.
fn document(title: &str, record: &About, body: &Markup) -> String {
    let style = style::of(record);
    let hash = STANDARD.encode(Sha256::digest(style.as_bytes()));
    let policy = format!("default-src 'none'; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'");
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (clean(title).as_str()) }
                style { (PreEscaped(&style)) }
            }
            body { (body) }
        }
    };
    page.into_string()
}

/// A word of warning for a job that never was.
fn practice(record: &About) -> Markup {
    html! {
        @if let Some(fault) = &record.practice {
            p class="banner" {
                strong { "Practice job." } " Machine and modules are invented; what is wrong with them: " (said(fault)) "."
            }
        }
    }
}

/// What a reader can check, and what no page can promise.
fn closing(record: &About) -> Markup {
    html! {
        footer {
            h2 { "How far this page can be trusted" }
            p {
                "It was made from the record " (said(&record.job)) ", " (record.lines) " lines, whose last line hashes to "
                code class="hash" { (said(&record.head)) } ". Compare with: "
                code { "tail -n 1 RECORD | tr -d '\\n' | sha256sum" } ". The page shows what the record says; the record is the "
                "original. Signatures and keys were not checked for it: "
                code { "slotwise audit RECORD --signers FILE" } " checks them. It cannot show who really held a key, whether the clock was right, or that someone looked where "
                "they said they looked."
            }
        }
    }
}
