//! How the document looks on a screen, on a telephone and on A4.

use crate::report::picture::paint;

pub(super) fn style() -> String {
    format!("{}{RULES}", paint::style())
}

const RULES: &str = "\
*{box-sizing:border-box}\
body{margin:0;background:var(--paper);color:var(--ink);font:1rem/1.5 system-ui,sans-serif}\
main{max-width:71rem;margin:0 auto;padding:1.5rem 1rem 3rem}\
h1{font-size:1rem;font-weight:600;color:var(--soft);margin:0 0 .6rem}\
h2{font-size:1.15rem;margin:0 0 .3rem;grid-column:1/-1}\
p{margin:0 0 .7rem;max-width:42rem;overflow-wrap:anywhere}\
.answer{font-size:1.3rem;line-height:1.4}\
.answer.several{font-size:1.08rem}\
.soft{color:var(--soft)}\
a{color:var(--link)}\
nav{font-size:.9rem;margin:1rem 0 1.4rem}\
nav a{display:inline-block;margin:0 .9rem .3rem 0}\
section{border-top:2px solid var(--rule);padding:1rem 0 1.3rem;display:grid;gap:.4rem 2.5rem;\
grid-template-columns:minmax(0,1fr)}\
figure{margin:0 0 .8rem;max-width:31rem;break-inside:avoid}\
figcaption{font-size:.9rem;color:var(--soft);margin-top:.4rem}\
.grid{display:grid;gap:.9rem;grid-template-columns:repeat(auto-fill,minmax(9.6rem,1fr));grid-column:1/-1}\
.grid figure{margin:0;max-width:none}\
.whole{grid-column:1/-1;min-width:0}\
.scroll{overflow-x:auto;margin:0 0 .8rem}\
table{border-collapse:collapse;font-size:.87rem;font-variant-numeric:tabular-nums}\
caption{text-align:left;color:var(--soft);padding-bottom:.3rem}\
th,td{padding:.22rem .75rem .22rem 0;text-align:right;white-space:nowrap;border-bottom:1px solid var(--rule);\
vertical-align:top}\
th{font-weight:400;color:var(--soft);white-space:normal;vertical-align:bottom}\
th.words,td.words{text-align:left}\
ul{margin:0;padding-left:1.1rem;max-width:46rem}\
li{margin-bottom:.45rem;overflow-wrap:anywhere}\
code{font-size:.9em;overflow-wrap:anywhere}\
.key{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.4rem;margin:.2rem 0 .6rem}\
.key li{display:flex;align-items:center;gap:.5rem;margin:0}\
.key svg.picture{width:3.2rem;flex:none}\
#again td:last-child{white-space:normal;overflow-wrap:anywhere;min-width:11rem}\
@media (max-width:30rem){table{font-size:.78rem}th,td{padding-right:.45rem}.answer{font-size:1.2rem}}\
@media (min-width:62rem){section.two{grid-template-columns:minmax(0,31rem) minmax(0,1fr)}}\
@media print{@page{size:A4;margin:15mm}body{font-size:9.5pt}main{max-width:none;padding:0}nav{display:none}section,section.two{display:block}\
figure,tr,li{break-inside:avoid}h2{break-after:avoid}.scroll{overflow:visible}\
figure{max-width:10cm}.grid{grid-template-columns:repeat(4,1fr)}.answer{font-size:13pt}\
table{font-size:8pt}th,td{padding-right:.5rem}a{color:inherit;text-decoration:none}}";
