//! What was seen along the course and along the day.

use super::{Section, figure, key, picture, table};
use crate::report::html::Told;
use crate::report::sheet::Sheet;
use crate::report::terminal::passes::Clock;
use crate::report::terminal::{climb_uncertainty_m, course_said};
use crate::report::words::signed;
use maud::html;

pub(super) fn elevation(told: &Told) -> Option<Section> {
    let pictures = picture::elevations(told.compared);
    let body = html! {
        p class="whole soft" {
            "Solid: the elevation that power and speed of the pass imply. Dashed: the one that all passes share. Metres \
             above where the pass began, along the course from its start. Where the two part and stay apart, something other than drag, tyres and \
             the road took or gave energy: a gust, a car, the brakes. ±: what a cell has left over. \
             In brackets: left out."
        }
        div class="grid" { @for picture in &pictures { (figure(picture, "")) } }
    };
    (!pictures.is_empty()).then_some(Section {
        id: "elevation",
        heading: "Virtual elevation",
        two: false,
        body,
    })
}

pub(super) fn left_over(told: &Told) -> Option<Section> {
    let picture = picture::left_over(told.compared)?;
    let body = html! {
        div { (figure(&picture, "")) }
        div {
            (key(told.compared, "left-over"))
            p {
                "Virtual less shared elevation, a strip for each pass in the order ridden, all on one scale. At the right: \
                 how far the two are apart at most. A slope that all strips have at one place belongs to the road or to its shelter; one \
                 that a single strip has belongs to that pass."
            }
        }
    };
    Some(Section {
        id: "left-over",
        heading: "What is left over along the course",
        two: true,
        body,
    })
}

pub(super) fn both(told: &Told) -> Option<Section> {
    let compared = told.compared;
    let picture = picture::both(compared)?;
    let rolling = &compared.rolling;
    let body = html! {
        div { (figure(&picture, "Outline: holds both of a pass nine times in ten. Shaded: rolling resistance as known before the day, ± its standard uncertainty. Line: the one that the day is computed with.")) }
        div {
            (key(compared, "both"))
            p {
                "At one speed drag and rolling are one force: what the one gains the other loses. A long thin outline \
                 means that a pass cannot tell them apart by itself; shifted along it, all set-ups move together, and \
                 their difference stays."
            }
            @if let Some(correlation) = rolling.correlation {
                p class="soft" {
                    "Correlation of the two by the rides of the whole day alone: "
                    (signed(correlation, 2)) ". Rolling resistance is "
                    (if rolling.held { "held at what was known before." } else { "fitted from the day." })
                }
            }
        }
    };
    Some(Section {
        id: "both",
        heading: "Drag or rolling",
        two: true,
        body,
    })
}

pub(super) fn wind(told: &Told, clock: &Clock) -> Option<Section> {
    let compared = told.compared;
    let picture = picture::wind(compared)?;
    let ridden = &compared.surveyed.ridden.passes;
    let rows = compared
        .passes
        .iter()
        .filter_map(|result| {
            let seen = result.judged.as_ref()?;
            let [east, north] = seen
                .wind_m_s
                .map(|(wind, u)| format!("{} ± {u:.1}", signed(wind, 1)));
            let pass = &ridden[result.pass];
            Some(vec![
                pass.number.to_string(),
                clock.text(pass.start_s),
                east,
                north,
                format!("{:.2}", seen.headwind_standard_uncertainty_m_s),
            ])
        })
        .collect();
    let header = [
        "pass",
        clock.heading(),
        "to the east",
        "to the north",
        "± along the road",
    ];
    let sheet = Sheet::new(&header, &[1], rows);
    let body = html! {
        div { (figure(&picture, "")) }
        div {
            (key(compared, "wind"))
            p {
                "Wind at rider height as all passes together see it: where the air moves to. One part of it is seen \
                 well only where the course runs along it; the other rests on what is known beforehand."
            }
            (table(&sheet, "Wind of each pass, m/s"))
        }
    };
    Some(Section {
        id: "wind",
        heading: "Wind along the day",
        two: true,
        body,
    })
}

pub(super) fn course(told: &Told) -> Section {
    let compared = told.compared;
    let course = &compared.surveyed.ridden.course;
    let climb_m = climb_uncertainty_m(compared);
    let body = html! {
        div {
            @if !told.private { (figure(&picture::plan(course), "")) }
            @if let Some(picture) = picture::profile(course) { (figure(&picture, "")) }
        }
        div { p { (course_said(&compared.surveyed, climb_m, !told.private)) } }
    };
    Section {
        id: "course",
        heading: "The course",
        two: true,
        body,
    }
}
