//! The look: black on white, one sans-serif, rules in place of boxes. What is grave is told by a sign and a word; the few
//! tints only repeat it and are left out in print.

use crate::report::story::About;

/// The style of a page about this record.
pub(super) fn of(record: &About) -> String {
    // Hexadecimal digits and hyphens, made by us: nothing in it can end the string.
    let fingerprint: String = record.fingerprint.chars().filter(|c| c.is_ascii_hexdigit() || *c == '-').collect();
    format!("{STYLE}@page{{@bottom-left{{content:\"record {fingerprint}\"}}}}\n")
}

const STYLE: &str = r#"
:root{color-scheme:light;--ink:#111;--soft:#555;--rule:#bbb;--tint:#f3f3ef;--warm:#fff3d6}
*{box-sizing:border-box}
html{font:16px/1.45 system-ui,"DejaVu Sans",sans-serif;color:var(--ink);background:#fff}
body{max-width:66rem;margin:0 auto;padding:1.5rem 1.25rem 3rem;overflow-wrap:anywhere}
h1{font-size:1.7rem;line-height:1.2;margin:0 0 .25rem}
h2{font-size:1.15rem;margin:2.2rem 0 .6rem;padding-top:.5rem;border-top:3px solid var(--ink)}
h3{font-size:1rem;margin:1.2rem 0 .3rem}
p{margin:.4rem 0}
.kicker{margin:0;color:var(--soft)}
.lead{font-size:1.1rem;margin:.2rem 0 1rem}
.banner{border:2px dashed var(--ink);padding:.5rem .75rem;margin:.75rem 0}
dl{margin:.4rem 0}
dl div{display:grid;grid-template-columns:8.5rem 1fr;column-gap:.75rem;padding:.1rem 0}
dt{color:var(--soft)}
dd{margin:0}
code{font:.92em/1.4 ui-monospace,"DejaVu Sans Mono",monospace}
ol.out{list-style:none;padding:0;margin:0}
ol.out>li{display:grid;grid-template-columns:2.2rem 1fr;column-gap:.6rem;padding:.7rem 0;border-bottom:1px solid var(--rule);break-inside:avoid}
ol.out h3{margin:0 0 .15rem}
ol.out .word{text-transform:uppercase;letter-spacing:.04em;font-size:.85em}
.stop,.look{background:var(--warm)}
svg.sign{width:1.7rem;height:1.7rem;margin-left:.3rem}
figure{margin:.5rem 0 1rem}
figure svg.map{max-width:100%;height:auto;display:block}
figcaption{color:var(--soft);font-size:.9rem}
ul.legend{list-style:none;display:flex;flex-wrap:wrap;gap:.35rem 1.4rem;padding:0;margin:.6rem 0}
ul.legend li{display:flex;align-items:center;gap:.4rem;font-size:.9rem}
ul.legend svg{width:1.35rem;height:1.35rem;flex:none}
table{border-collapse:collapse;width:100%;font-size:.92rem;margin:.4rem 0 1rem}
caption{text-align:left;color:var(--soft);font-size:.9rem;padding-bottom:.3rem}
th,td{text-align:left;vertical-align:top;padding:.28rem .6rem .28rem 0;border-bottom:1px solid var(--rule)}
thead th{border-bottom:2px solid var(--ink)}
td.n,th.n{text-align:right;padding-right:1rem;font-variant-numeric:tabular-nums;white-space:nowrap}
td.t,th.t{white-space:nowrap}
tbody th{font-weight:600}
tr{break-inside:avoid}
thead tr,tbody:first-of-type tr:first-child{break-before:avoid}
thead{display:table-header-group}
ul.plain{list-style:none;padding:0;margin:0}
ul.plain li{padding:.1rem 0}
ul.plain li.told{padding-left:1.1rem;text-indent:-1.1rem}
th.by,td.by{min-width:5.5rem}
th.w40{width:40%}
table.items{table-layout:fixed}
.items th,.items td{padding-top:.18rem;padding-bottom:.18rem}
.items tbody th[scope=row]{font-weight:400}
.items th[scope=rowgroup]{padding-top:.9rem;border-bottom-color:var(--ink);font-weight:700}
.items .w1{width:42%}.items .w2{width:33%}.items .w3{width:9%}.items .w4{width:9%}.items .w5{width:7%}
.bad{font-weight:600}
.amended{margin:.15rem 0;padding-left:.6rem;border-left:3px solid var(--ink);font-weight:600;text-indent:0}
.hash{overflow-wrap:anywhere}
blockquote{margin:.4rem 0;padding-left:.9rem;border-left:3px solid var(--rule)}
footer{color:var(--soft);font-size:.9rem}
footer h2{border-top-width:1px;color:var(--soft);font-size:1rem}
.verdict{border:3px solid var(--ink);padding:.6rem .9rem;margin:.8rem 0}
.verdict .lead{font-weight:700;margin:0 0 .3rem}
.verdict ul{margin:.2rem 0;padding-left:1.2rem}
.label{display:flex;flex-wrap:wrap;gap:1rem 2.5rem;align-items:flex-end;margin:.8rem 0}
.label .serial{font:700 1.9rem/1.1 ui-monospace,"DejaVu Sans Mono",monospace}
svg.bars{height:22mm;background:#fff;display:block}
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 2rem}
.two dl div{grid-template-columns:6.5rem 1fr}
.fields{display:grid;grid-template-columns:repeat(3,1fr);gap:1.6rem 1.5rem;margin-top:1.8rem}
.fields div{border-top:1px solid var(--ink);padding-top:.2rem;font-size:.85rem;color:var(--soft)}
@media (max-width:40rem){.two{grid-template-columns:1fr}dl div{grid-template-columns:1fr}.scroll{overflow-x:auto}.map{min-width:40rem}}
@media print{
html{font-size:8.5pt;line-height:1.3}
html:has(.slip){font-size:9pt;line-height:1.45}
body{max-width:none;padding:0}
.stop,.look{background:none}
h2,h3{break-after:avoid}
.keep{break-inside:avoid}
h2{margin-top:1.1rem;column-span:all}
h3{margin-top:.7rem}
p{margin:.2rem 0}
figure,.verdict,.label{break-inside:avoid}
figure svg.map{max-height:90mm}
ol.out>li{padding:.35rem 0}
main>section>table th,main>section>table td{padding-top:.1rem;padding-bottom:.1rem}
section[aria-labelledby=done],section[aria-labelledby=reported],section[aria-labelledby=items]{columns:2;column-gap:6mm}
section[aria-labelledby=stands-out]>ol,section[aria-labelledby=slots]>ul{columns:2;column-gap:6mm}
section[aria-labelledby=slots]>ul{font-size:7pt}
section[aria-labelledby=done],section[aria-labelledby=measured]{font-size:6.8pt}
section[aria-labelledby=reported]{font-size:7.2pt}
section[aria-labelledby=items]{font-size:6.3pt;line-height:1.18}
section>table,section>table caption,section>table small{font-size:inherit}
section[aria-labelledby=measured] thead th:first-child{width:42%}
section[aria-labelledby=measured] th.w40{width:44%}
section[aria-labelledby=items]{break-before:page}
section h2{font-size:10.5pt}
.items th,.items td{padding:.06rem .4rem .06rem 0}
.items th[scope=rowgroup]{padding-top:.35rem}
.items .w1{width:40%}.items .w2{width:29%}.items .w3{width:13%}.items .w4{width:12%}.items .w5{width:6%}
.items td.n,.items th.n{padding-right:0}
.items tr.card{break-after:avoid}
section dl div{grid-template-columns:5.5rem 1fr;padding:0}
.slip section dl div{grid-template-columns:8.5rem 1fr;padding:.1rem 0}
.slip .two dl div{grid-template-columns:6.5rem 1fr}
.slip p{margin:.4rem 0}
.slip h2{margin-top:.9rem;font-size:1.15rem}
.slip .fields{margin-top:2.4rem}
.slip footer{font-size:.85rem}
}
@page{margin:15mm 14mm 17mm;@bottom-right{content:"page " counter(page) " of " counter(pages)}}
"#;
