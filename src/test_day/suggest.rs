//! The known name that was probably meant by an unknown one.

/// The nearest of `known`, or `None` where none is near enough to be worth saying.
pub(super) fn nearest<'a>(typed: &str, known: &[&'a str]) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    // Two, even in a short name: neighbouring letters typed in the wrong order count twice.
    let length = typed.chars().count();
    let allowed = (length / 3).max((length / 2).min(2));
    known
        .iter()
        .map(|name| (distance(&typed, &name.to_lowercase()), *name))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// Letters to insert, delete or replace; 0 as well where only the order of the words differs,
/// as in `total_mass_kg_standard_uncertainty`.
fn distance(a: &str, b: &str) -> usize {
    if words(a) == words(b) {
        return 0;
    }
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut next = vec![i + 1];
        for (j, (other, window)) in b.iter().zip(row.windows(2)).enumerate() {
            if let ([above_left, above], Some(left)) = (window, next.get(j)) {
                let replaced = above_left + usize::from(letter != *other);
                next.push(replaced.min(above + 1).min(left + 1));
            }
        }
        row = next;
    }
    row.last().copied().unwrap_or(usize::MAX)
}

fn words(name: &str) -> Vec<&str> {
    let mut words: Vec<&str> = name.split(['_', '-', ' ']).collect();
    words.sort_unstable();
    words
}

/// `"a", "b" and "c"`
pub(super) fn listed(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    match quoted.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_finger_find_their_name() {
        let known = ["total_mass_kg", "total_mass_standard_uncertainty_kg"];
        assert_eq!(nearest("total_mas_kg", &known), Some("total_mass_kg"));
        assert_eq!(nearest("TOTAL_MASS_KG", &known), Some("total_mass_kg"));
        assert_eq!(nearest("total_mass", &known), Some("total_mass_kg"));
        assert_eq!(
            nearest("total_mass_kg_standard_uncertainty", &known),
            Some("total_mass_standard_uncertainty_kg")
        );
    }

    #[test]
    fn a_name_unlike_all_others_gets_no_suggestion() {
        assert_eq!(nearest("colour", &["total_mass_kg", "crr"]), None);
        assert_eq!(nearest("", &["crr"]), None);
    }

    #[test]
    fn distances_by_hand() {
        assert_eq!(distance("kitten", "sitting"), 3); // the textbook pair: two replaced, one inserted
        assert_eq!(distance("", "crr"), 3);
        assert_eq!(distance("crr", ""), 3);
    }

    #[test]
    fn lists_read_as_a_sentence() {
        assert_eq!(listed(&["a"]), "\"a\"");
        assert_eq!(listed(&["a", "b", "c"]), "\"a\", \"b\" and \"c\"");
    }
}
