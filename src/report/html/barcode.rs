//! A serial as bars that a hand scanner reads from paper or a screen.

use maud::{Markup, html};

use super::clean;
use crate::report::code128::code128;

/// The bars of a text, or why there are none.
pub(super) fn bars(text: &str) -> Markup {
    let Some(bars) = code128(text) else {
        return html! {
            p { "No bar code: the serial is empty, too long, or has characters that no scanner could send back." }
        };
    };
    const HEIGHT: u32 = 60;
    // Half a millimetre a module is read by every hand scanner; a long serial gets narrower bars so that it fits the paper.
    let millimetres = (bars.modules() * 45 / 100).min(175);
    html! {
        svg class="bars" role="img" aria-label=(format!("Bar code, Code 128, of {}", clean(text)))
            viewBox=(format!("0 0 {} {HEIGHT}", bars.modules())) width=(format!("{millimetres}mm"))
            preserveAspectRatio="none" shape-rendering="crispEdges" xmlns="http://www.w3.org/2000/svg" {
            @for (x, width) in bars.bars() {
                rect x=(x) y="0" width=(width) height=(HEIGHT) fill="#000" {}
            }
        }
    }
}
