//! The table of set-ups: what the letters of the other tables stand for.

use super::super::sheet::Sheet;
use super::super::words::wrapped;
use super::letter;
use crate::study::Compared;
use crate::verdict::About;

pub fn setups(compared: &Compared, width: usize) -> String {
    format!(
        "{}\n{}\n{}",
        sheet(compared).text(width),
        wrapped(&legend(compared), width),
        wrapped(&rolling(compared), width)
    )
}

fn ranked(compared: &Compared) -> bool {
    compared.setups.iter().any(|s| s.chance_lowest.is_some())
}

pub fn sheet(compared: &Compared) -> Sheet {
    let several = compared.setups.len() > 1;
    let ranked = ranked(compared);
    let mut header = vec!["", "set-up", "CdA m²", "±", "90 % interval", "blocks", "passes"];
    if ranked {
        header.push("lowest");
    }
    let rows = compared
        .setups
        .iter()
        .enumerate()
        .map(|(index, s)| {
            let (cda, uncertainty, interval) = match s.cda_m2 {
                Some((cda, u, [low, high])) => (
                    format!("{cda:.3}"),
                    format!("{u:.3}"),
                    format!("{low:.3} to {high:.3}"),
                ),
                None => ("–".into(), "–".into(), "–".into()),
            };
            let mut row = vec![
                if several { letter(index) } else { String::new() },
                s.name.clone(),
                cda,
                uncertainty,
                interval,
                s.blocks.to_string(),
                s.passes.to_string(),
            ];
            if ranked {
                row.push(
                    s.chance_lowest
                        .map_or("–".into(), |c| format!("{:.0} %", 100.0 * c)),
                );
            }
            row
        })
        .collect::<Vec<_>>();
    if several {
        return Sheet::new(&header, &[0, 1], rows);
    }
    let rows = rows.into_iter().map(|row| row.into_iter().skip(1).collect());
    Sheet::new(&header[1..], &[0], rows.collect())
}

pub fn legend(compared: &Compared) -> String {
    let several = compared.setups.len() > 1;
    let mut text =
        "CdA is drag area: what the air feels of rider and bike. Its ± holds what all passes share"
            .to_string();
    text.push_str(if several {
        ", which nearly cancels between set-ups."
    } else {
        "."
    });
    if ranked(compared) {
        text.push_str(" 'lowest' is the chance of having the least drag of all.");
    }
    text
}

/// One sentence where all roll alike.
pub fn rolling(compared: &Compared) -> String {
    let one = |(value, u): (f64, f64)| format!("{value:.4} ± {u:.4}");
    let crr: Vec<String> = compared.setups.iter().map(|s| one(s.crr)).collect();
    let about_it = compared.findings.iter().any(|f| f.about != About::Drag);
    let how = if about_it {
        "its level is as in test.toml, its differences are measured"
    } else if compared.rolling.held {
        "held, not fitted"
    } else {
        "fitted"
    };
    if crr.iter().all(|c| Some(c) == crr.first()) {
        return format!(
            "Rolling resistance (Crr): {} ({how}).",
            crr.first().map_or("", String::as_str)
        );
    }
    let each: Vec<String> = crr
        .iter()
        .enumerate()
        .map(|(index, c)| format!("{} {c}", letter(index)))
        .collect();
    format!("Rolling resistance (Crr): {} ({how}).", each.join(", "))
}
