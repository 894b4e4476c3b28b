//! Where the day stands: what is ridden, and whether to ride on.

use crate::report::words::count;
use crate::study::{BlocksRidden, Compared, blocks_ridden};
use crate::verdict::{Call, Finding, Says};

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    pub passes_kept: usize,
    pub passes_found: usize,
    /// Blocks of set-ups; 0 of 0 where `test.toml` names none.
    pub blocks_ridden: usize,
    pub blocks: usize,
    pub advice: Option<Advice>,
}

/// A sentence, without its first word and its full stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Advice {
    Stop(String),
    RideOn(String),
}

impl Advice {
    pub fn in_words(&self) -> String {
        match self {
            Advice::Stop(why) => format!("You can stop: {why}."),
            Advice::RideOn(why) => format!("Ride on: {why}."),
        }
    }
}

impl Standing {
    pub fn of(compared: &Compared) -> Standing {
        let blocks = blocks_ridden(&compared.surveyed.test_day, &compared.passes);
        Standing {
            passes_kept: compared.passes.iter().filter(|pass| pass.kept).count(),
            passes_found: compared.passes.len(),
            blocks_ridden: blocks.ridden.len(),
            blocks: blocks.ridden.len() + blocks.to_come.len(),
            advice: advice(compared, &blocks),
        }
    }
}

/// Only a day that is planned to be looked at after every block may end early: stopping whenever a plain interval happens
/// to leave 0 out would be wrong far more often than one look (docs/method.md, 17).
fn advice(compared: &Compared, blocks: &BlocksRidden) -> Option<Advice> {
    let day = &compared.surveyed.test_day;
    let next = blocks.to_come.first().and_then(|place| {
        let setup = &day.setups[day.blocks[*place].setup?];
        Some(format!("next is '{}'", setup.name))
    });
    let about: Vec<&Finding> = compared
        .findings
        .iter()
        .filter(|f| f.null_test.is_none())
        .collect();
    let looks: Vec<Says> = about
        .iter()
        .filter_map(|f| Some(f.looks.as_ref()?.says))
        .collect();
    if !looks.is_empty() && looks.len() == about.len() {
        return Some(of_looks(&looks, next));
    }
    let left = blocks.to_come.len();
    if let Some(next) = next {
        return Some(Advice::RideOn(format!(
            "{} to come, {next}",
            count(left, "block")
        )));
    }
    at_the_end(&about)
}

/// The pair that is farthest from an answer decides.
fn of_looks(looks: &[Says], next: Option<String>) -> Advice {
    let then = next.map_or(String::new(), |next| format!(", {next}"));
    let more = looks.iter().filter_map(|says| match says {
        Says::More(blocks) => Some(*blocks),
        _ => None,
    });
    let hardly = looks.iter().find(|says| matches!(says, Says::Hardly(_)));
    match (hardly, more.max()) {
        (Some(hardly), _) => Advice::Stop(hardly.in_words()),
        (None, Some(blocks)) => Advice::RideOn(format!("about {}{then}", count(blocks, "more block"))),
        (None, None) if looks.contains(&Says::NotResolved) => Advice::Stop(Says::NotResolved.in_words()),
        (None, None) if looks.iter().all(|says| *says == Says::Small) => {
            Advice::Stop("the difference is known to be small".to_string())
        }
        (None, None) => Advice::Stop("it is resolved".to_string()),
    }
}

/// All blocks of `test.toml` are ridden.
fn at_the_end(about: &[&Finding]) -> Option<Advice> {
    if about.is_empty() {
        return None;
    }
    let open = |f: &&&Finding| f.call == Call::NotResolved && !f.known_to_be_small;
    if !about.iter().any(|f| open(&f)) {
        return Some(Advice::Stop("all blocks are ridden".to_string()));
    }
    let more: Option<Vec<usize>> = about
        .iter()
        .filter(open)
        .map(|f| f.more_blocks_to_resolve)
        .collect();
    Some(match more.and_then(|more| more.into_iter().max()) {
        Some(blocks) => Advice::RideOn(format!("about {} would tell", count(blocks, "more block"))),
        None => Advice::Stop("no reachable number of blocks would tell on a day like this".to_string()),
    })
}
