//! A picture of rows: a name and what it is in words, and below them its mark on a common axis. Long names have
//! room so, on a telephone too.

use super::draw::{Anchor, area, axis_below, dot, interval, line, text};
use super::scale::Scale;
use super::{WIDTH, short};
use maud::{Markup, html};

const ROW: i32 = 400;
const SIDE: i32 = 120;
/// Characters of a name beside what is said of it.
const MOST: usize = 52;

pub(super) enum Mark {
    /// A value, and its interval where there is one.
    Dot {
        setup: usize,
        value: f64,
        ends: Option<[f64; 2]>,
    },
    /// From zero; a sum is drawn as an outline.
    Bar { value: f64, sum: bool },
}

pub(super) struct Row {
    pub name: String,
    pub said: String,
    pub mark: Mark,
}

#[derive(Default)]
pub(super) struct Rows {
    pub rows: Vec<Row>,
    /// A range that is shaded behind everything.
    pub band: Option<[f64; 2]>,
    /// A line at zero, and signs on the axis.
    pub zero: bool,
    /// What the two sides of zero mean.
    pub sides: Option<[&'static str; 2]>,
    pub unit: &'static str,
}

impl Rows {
    pub fn height(&self) -> i32 {
        self.bottom() + if self.sides.is_some() { 480 } else { 340 }
    }

    fn bottom(&self) -> i32 {
        60 + ROW * self.rows.len() as i32
    }

    fn values(&self) -> Vec<f64> {
        let of = |row: &Row| match row.mark {
            Mark::Dot { value, ends, .. } => [Some(value), ends.map(|e| e[0]), ends.map(|e| e[1])],
            Mark::Bar { value, .. } => [Some(value), Some(0.0), None],
        };
        let rows = self.rows.iter().flat_map(of).flatten();
        let zero = self.zero.then_some(0.0);
        rows.chain(zero).chain(self.band.into_iter().flatten()).collect()
    }

    pub fn draw(&self) -> Markup {
        let scale = Scale::holding(self.values(), 0.05, [SIDE, WIDTH - SIDE]);
        let bottom = self.bottom();
        html! {
            (axis_below(&scale, self.zero, [bottom - 30, bottom], 6))
            @for (index, row) in self.rows.iter().enumerate() {
                (self.row(row, &scale, 60 + ROW * index as i32))
            }
            (text("soft", [WIDTH / 2, bottom + 310], Anchor::Middle, self.unit))
            @if let Some([less, more]) = self.sides {
                (text("soft", [0, bottom + 450], Anchor::Start, &format!("← {less}")))
                (text("soft", [WIDTH, bottom + 450], Anchor::End, &format!("{more} →")))
            }
        }
    }

    fn row(&self, row: &Row, scale: &Scale, top: i32) -> Markup {
        let y = top + 250;
        let (lane, tall) = (top + 165, 190);
        let room = MOST.saturating_sub(row.said.chars().count());
        html! {
            (text("", [0, top + 110], Anchor::Start, &short(&row.name, room)))
            (text("strong", [WIDTH, top + 110], Anchor::End, &row.said))
            @if let Some([low, high]) = self.band {
                @let (from, to) = (scale.at(low), scale.at(high));
                (area("shade", [from, lane], [to - from, tall]))
            }
            @for tick in scale.ticks(6, false) {
                (line("rule", [tick.at, lane], [tick.at, lane + tall]))
            }
            @if self.zero {
                (line("zero", [scale.at(0.0), lane], [scale.at(0.0), lane + tall]))
            }
            @match row.mark {
                Mark::Dot { setup, value, ends } => {
                    @if let Some([low, high]) = ends.filter(|ends| ends.iter().all(|end| end.is_finite())) {
                        (interval(setup, [scale.at(low), y], [scale.at(high), y]))
                    }
                    @if value.is_finite() { (dot(setup, [scale.at(value), y], false)) }
                }
                Mark::Bar { value, sum } => {
                    @let (from, to) = (scale.at(value.min(0.0)), scale.at(value.max(0.0)));
                    @if value.is_finite() {
                        (area(if sum { "outlined" } else { "bar" }, [from, y - 50], [(to - from).max(8), 100]))
                    }
                }
            }
        }
    }
}
