//! The ride itself: a rider who aims at a power, brakes for turns, stands still, and the balance in between.

use super::balance::{Body, Push, State, density_kg_m3, gravity_m_s2, step};
use super::path::{Doing, Path, Span};
use super::plan::{DayPlan, Incident};
use super::wind::{Wander, Wind};
use super::{Purpose, random};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Rider and wind are drawn at this step; the balance may be integrated in smaller ones.
pub(super) const TICK_S: f64 = 0.1;
/// No plan rides longer than a day.
const MOST_TICKS: usize = 864_000;
const HARDEST_BRAKING_M_S2: f64 = 4.0;
/// Slower than this with a stand ahead, the foot goes down.
const FOOT_DOWN_M_S: f64 = 0.4;
const FOOT_DOWN_M: f64 = 0.5;

/// The true ride, tick by tick.
#[derive(Debug, Default)]
pub(super) struct Trace {
    pub start_s: f64,
    pub ridden_m: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    /// Joules the crank has taken since the start.
    pub work_j: Vec<f64>,
    pub airspeed_m_s: Vec<f64>,
    /// Along the direction of travel: ground speed and head wind.
    pub air_along_m_s: Vec<f64>,
    /// At the rider, where the air moves to, east and north.
    pub wind_m_s: Vec<[f64; 2]>,
    pub pedalling: Vec<bool>,
    /// Node of the path at each tick.
    pub node: Vec<usize>,
    pub stands: Vec<Stand>,
    /// CdA of each planned pass, position included.
    pub pass_cda_m2: Vec<f64>,
}

/// The rider standing still, in seconds since the start of the trace.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    pub from_s: f64,
    pub to_s: f64,
    /// Block that begins after it, where the set-up is changed.
    pub next_block: Option<usize>,
    /// The first stand, before the first block.
    pub first: bool,
}

impl Stand {
    /// The set-up is put on here, for the first time or anew.
    pub fn changes_block(&self) -> bool {
        self.first || self.next_block.is_some()
    }
}

impl Trace {
    /// Seconds since the start when the wheel first had gone so far.
    pub fn time_at(&self, ridden_m: f64) -> f64 {
        let after = self.ridden_m.partition_point(|&x| x < ridden_m);
        let Some(before) = after.checked_sub(1) else {
            return 0.0;
        };
        match (self.ridden_m.get(before), self.ridden_m.get(after)) {
            (Some(a), Some(b)) => (before as f64 + (ridden_m - a) / (b - a)) * TICK_S,
            _ => before as f64 * TICK_S,
        }
    }

    /// One of the columns at a time between two ticks.
    pub fn at(column: &[f64], seconds: f64) -> f64 {
        let ticks = (seconds / TICK_S).max(0.0);
        let index = (ticks as usize).min(column.len().saturating_sub(2));
        match (column.get(index), column.get(index + 1)) {
            (Some(a), Some(b)) => a + (ticks - index as f64).min(1.0) * (b - a),
            _ => column.first().copied().unwrap_or(0.0),
        }
    }

    pub fn duration_s(&self) -> f64 {
        self.ridden_m.len().saturating_sub(1) as f64 * TICK_S
    }
}

struct Rider<'a> {
    plan: &'a DayPlan,
    rng: ChaCha8Rng,
    slow: Wander,
    fast: Wander,
    entry_speeds: Vec<f64>,
}

pub(super) fn ride(plan: &DayPlan, path: &Path) -> Trace {
    // Where the curve grows, the rider's lean takes up energy within a few ticks: in one step a
    // tick 7e-4 of a lap's energy would go missing, in four 2e-5.
    let parts = if plan.course.track.is_some() { 4 } else { 1 };
    ride_in_steps(plan, path, parts)
}

/// As `ride`, each tick integrated in `parts` steps.
pub(super) fn ride_in_steps(plan: &DayPlan, path: &Path, parts: usize) -> Trace {
    let mut trace = Trace {
        start_s: plan.start_s,
        ..Trace::default()
    };
    let mut rider = Rider::new(plan);
    let mut wind = Wind::new(&plan.wind, plan.course.bearing_deg, TICK_S, plan.seed);
    let bodies = bodies(plan);
    let mut state = State {
        ridden_m: 0.0,
        speed_m_s: 0.0,
        work_j: 0.0,
    };
    let mut node = 0;
    trace.pass_cda_m2 = bodies.iter().map(|body| body.cda_m2).collect();
    for span in &path.spans {
        let Some(rested) = bodies.get(span.pass.min(bodies.len().saturating_sub(1))) else {
            break;
        };
        while state.ridden_m < span.to_m && trace.ridden_m.len() < MOST_TICKS {
            if stands_now(span, &state) {
                state.ridden_m = span.to_m;
                state.speed_m_s = 0.0;
                break;
            }
            node = path.index_at(state.ridden_m, node);
            let body = &later_in_the_day(plan, rested, trace.duration_s());
            let blown = blown(plan, path, span, &state, node, wind.now());
            let power_w = rider.power(path, span, &state, node, trace.ridden_m.len());
            let brake_n = braking(path, &state, node) * body.inertia_kg;
            let coasts = brake_n > 0.0 || coasting(plan, span, &state);
            let power_w = if coasts { 0.0 } else { power_w };
            let brake_n = brake_n + dab_n(plan, span, &state);
            trace.note(path, &state, node, power_w, blown);
            wind.advance();
            let later = blown_later(plan, path, span, &state, node, wind.now());
            let push = Push {
                power_w,
                brake_n,
                wind_start: blown,
                wind_end: later,
            };
            let body = Body {
                cda_m2: body.cda_m2 * drag_factor(plan, span, &state),
                ..*body
            };
            state = tick(&body, path, state, &push, node, parts);
        }
        stand(span, &mut trace, path, &state, &mut wind, &mut rider);
    }
    trace
}

fn tick(body: &Body, path: &Path, state: State, push: &Push, node: usize, parts: usize) -> State {
    let mut state = state;
    let parts = parts.max(1);
    let between = |a: [f64; 2], b: [f64; 2], u: f64| [0, 1].map(|k| a[k] + u * (b[k] - a[k]));
    for part in 0..parts {
        let (u0, u1) = (part as f64 / parts as f64, (part + 1) as f64 / parts as f64);
        let push = Push {
            wind_start: between(push.wind_start, push.wind_end, u0),
            wind_end: between(push.wind_start, push.wind_end, u1),
            ..*push
        };
        state = step(body, state, &push, TICK_S / parts as f64, |x| {
            path.ground(node, x)
        });
    }
    state
}

/// The body as the day has changed it: lighter, and in other air.
fn later_in_the_day(plan: &DayPlan, body: &Body, seconds: f64) -> Body {
    let mut later = *body;
    if plan.air.changes() {
        later.density_kg_m3 = density_kg_m3(&plan.air.after(seconds));
    }
    if plan.rider.mass_loss_kg_per_h != 0.0 {
        let lost_kg = plan.rider.mass_loss_kg_per_h * seconds / 3600.0;
        later.mass_kg -= lost_kg;
        later.inertia_kg -= lost_kg;
    }
    later
}

/// One body for each planned pass: set-up, mounting and position.
pub(super) fn bodies(plan: &DayPlan) -> Vec<Body> {
    let mut rng = random(plan.seed, Purpose::Position);
    let density = density_kg_m3(&plan.air);
    let gravity = gravity_m_s2(plan.course.latitude_deg, plan.course.elevation_m);
    let mut bodies = Vec::new();
    for block in &plan.order {
        let mounting: f64 = rng.sample(StandardNormal);
        for _ in 0..block.passes {
            let pass: f64 = rng.sample(StandardNormal);
            let log = plan.rider.position_block_sd * mounting + plan.rider.position_pass_sd * pass;
            if let Some(setup) = plan.setups.get(block.setup.unwrap_or(0)) {
                let track = plan.course.track.as_ref();
                bodies.push(Body {
                    centre_height_m: track.map_or(0.0, |track| track.centre_of_mass_height_m),
                    ..Body::new(setup, log.exp(), density, gravity)
                });
            }
        }
    }
    bodies
}

fn stands_now(span: &Span, state: &State) -> bool {
    let left = span.to_m - state.ridden_m;
    span.stand_s > 0.0 && left < FOOT_DOWN_M && state.speed_m_s < 2.0 * FOOT_DOWN_M_S
        || span.stand_s > 0.0 && left < 2.0 * FOOT_DOWN_M && state.speed_m_s < FOOT_DOWN_M_S
}

/// Deceleration in m/s² that keeps the rider within what can still be braked for.
fn braking(path: &Path, state: &State, node: usize) -> f64 {
    let soon = state.ridden_m + state.speed_m_s * TICK_S;
    let allowed = path.allowed_m_s(node, soon);
    ((state.speed_m_s - allowed) / TICK_S).clamp(0.0, HARDEST_BRAKING_M_S2)
}

/// Wind as it reaches the rider: shelter of the place, and a lorry that overtakes.
fn blown(plan: &DayPlan, path: &Path, span: &Span, state: &State, node: usize, wind: [f64; 2]) -> [f64; 2] {
    let mut wind = wind;
    if let Some(shelter) = plan.wind.shelter {
        let s = path.course_m(node, state.ridden_m);
        if s.is_finite() {
            let wave = (std::f64::consts::TAU * s / shelter.length_m).sin();
            let factor = 1.0 - shelter.depth * (0.5 + 0.5 * wave);
            wind = wind.map(|component| component * factor);
        }
    }
    for incident in &plan.incidents {
        if let Incident::Lorry {
            pass,
            at_m,
            gust_m_s,
            duration_s,
        } = *incident
            && let Some(part) = part_of_incident(span, state, pass, at_m, duration_s)
        {
            let push = gust_m_s * (std::f64::consts::PI * part).sin();
            let ground = path.ground(node, state.ridden_m);
            wind[0] += push * ground.sin_bearing;
            wind[1] += push * ground.cos_bearing;
        }
    }
    wind
}

/// How far the rider is through an incident, 0 to 1; `None` before and after it. It is laid out along the
/// road, at the speed the rider has.
fn part_of_incident(span: &Span, state: &State, pass: usize, at_m: f64, duration_s: f64) -> Option<f64> {
    let Doing::Pass { number, .. } = span.doing else {
        return None;
    };
    let length_m = (duration_s * state.speed_m_s).max(1.0);
    let part = (state.ridden_m - span.from_m - at_m) / length_m;
    (pass == number + 1 && (0.0..1.0).contains(&part)).then_some(part)
}

/// Newtons of a brake that is touched.
fn dab_n(plan: &DayPlan, span: &Span, state: &State) -> f64 {
    let force = |incident: &Incident| match *incident {
        Incident::BrakeDab {
            pass,
            at_m,
            brake_n,
            duration_s,
        } => part_of_incident(span, state, pass, at_m, duration_s).map_or(0.0, |_| brake_n),
        _ => 0.0,
    };
    plan.incidents.iter().map(force).sum()
}

/// What sitting up, or riding behind somebody, makes of the drag area.
fn drag_factor(plan: &DayPlan, span: &Span, state: &State) -> f64 {
    let factor = |incident: &Incident| match *incident {
        Incident::OtherDrag {
            pass,
            at_m,
            factor,
            duration_s,
        } => part_of_incident(span, state, pass, at_m, duration_s).map_or(1.0, |_| factor),
        _ => 1.0,
    };
    plan.incidents.iter().map(factor).product()
}

fn coasting(plan: &DayPlan, span: &Span, state: &State) -> bool {
    plan.incidents.iter().any(|incident| match *incident {
        Incident::Coast {
            pass,
            at_m,
            duration_s,
        } => part_of_incident(span, state, pass, at_m, duration_s).is_some(),
        _ => false,
    })
}

/// The same wind at the end of the tick, where the rider will be by then.
fn blown_later(
    plan: &DayPlan,
    path: &Path,
    span: &Span,
    state: &State,
    node: usize,
    wind: [f64; 2],
) -> [f64; 2] {
    let later = State {
        ridden_m: state.ridden_m + state.speed_m_s * TICK_S,
        ..*state
    };
    blown(plan, path, span, &later, node, wind)
}

fn stand(span: &Span, trace: &mut Trace, path: &Path, state: &State, wind: &mut Wind, rider: &mut Rider) {
    let ticks = (span.stand_s / TICK_S).round() as usize;
    if ticks == 0 || trace.ridden_m.len() >= MOST_TICKS {
        return;
    }
    let from = trace.ridden_m.len();
    let node = path.index_at(state.ridden_m, trace.node.last().copied().unwrap_or(0));
    let still = State {
        speed_m_s: 0.0,
        ..*state
    };
    for _ in 0..ticks {
        trace.note(path, &still, node, 0.0, wind.now());
        wind.advance();
        rider.advance();
    }
    trace.stands.push(Stand {
        from_s: from as f64 * TICK_S,
        to_s: (from + ticks) as f64 * TICK_S,
        next_block: span.remount.then_some(span.block + 1),
        first: trace.stands.is_empty() && span.doing == Doing::Cruise,
    });
}

impl Trace {
    fn note(&mut self, path: &Path, state: &State, node: usize, power_w: f64, wind: [f64; 2]) {
        let ground = path.ground(node, state.ridden_m);
        let along = wind[0] * ground.sin_bearing + wind[1] * ground.cos_bearing;
        let across = wind[0] * ground.cos_bearing - wind[1] * ground.sin_bearing;
        self.ridden_m.push(state.ridden_m);
        self.speed_m_s.push(state.speed_m_s);
        self.work_j.push(state.work_j);
        self.airspeed_m_s.push((state.speed_m_s - along).hypot(across));
        self.air_along_m_s.push(state.speed_m_s - along);
        self.wind_m_s.push(wind);
        self.pedalling.push(power_w > 0.0);
        self.node.push(node);
    }
}

impl<'a> Rider<'a> {
    fn new(plan: &'a DayPlan) -> Self {
        let mut rng = random(plan.seed, Purpose::Rider);
        let truth = &plan.rider;
        let slow = Wander::new(
            truth.power_wander_sd,
            truth.power_wander_memory_s,
            TICK_S,
            &mut rng,
        );
        let fast = Wander::new(truth.power_uneven_sd, 1.0, TICK_S, &mut rng);
        let entry_speeds = (0..plan.planned_passes())
            .map(|_| {
                let normal: f64 = rng.sample(StandardNormal);
                truth.entry_speed_m_s + truth.entry_speed_sd_m_s * normal
            })
            .collect();
        Rider {
            plan,
            rng,
            slow,
            fast,
            entry_speeds,
        }
    }

    fn advance(&mut self) {
        self.slow.advance(&mut self.rng);
        self.fast.advance(&mut self.rng);
    }

    /// Crank power for the coming tick.
    fn power(&mut self, path: &Path, span: &Span, state: &State, node: usize, ticks: usize) -> f64 {
        self.advance();
        let truth = &self.plan.rider;
        let v = state.speed_m_s;
        let block = self.plan.order.get(span.block);
        let warm_up = block.is_some_and(|b| b.setup.is_none());
        let setup = block.and_then(|b| self.plan.setups.get(b.setup?));
        let share = setup.map_or(1.0, |setup| setup.power_share);
        let ease = if warm_up { 0.7 } else { 1.0 };
        let hours = ticks as f64 * TICK_S / 3600.0;
        let uneven = 1.0 + self.slow.value + self.fast.value;
        let aim = truth.power_w * share * ease * (1.0 - truth.fade_per_h * hours).max(0.0);
        let toward = |speed: f64, base: f64, gain: f64, most: f64| {
            (base + gain * (speed - v)).clamp(0.0, most.max(0.0))
        };
        let wanted = match span.doing {
            Doing::Pass { .. } | Doing::Spoilt { .. } => {
                let slope = path.ground(node, state.ridden_m).sin_slope;
                aim * (1.0 + truth.climb_response * 100.0 * slope)
            }
            Doing::LeadIn => {
                let entry = self.entry_speeds.get(span.pass).copied();
                toward(
                    entry.unwrap_or(truth.entry_speed_m_s) * ease.cbrt(),
                    aim,
                    120.0,
                    2.2 * aim,
                )
            }
            Doing::RunOut => toward(8.0, 0.3 * aim, 40.0, 0.7 * aim),
            Doing::Cruise => toward(7.5, 0.5 * aim, 60.0, 1.2 * aim),
            Doing::Turn => toward(2.0, 60.0, 100.0, 220.0),
            // Rolls by itself where the road falls; on the flat a few strokes now and then.
            Doing::RollBack => toward(5.0, 0.0, 100.0, aim),
        };
        (wanted * uneven).max(0.0)
    }
}
