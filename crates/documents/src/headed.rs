//! Lines of a paper under the headings of their stages: each heading once, in the order in which the stages come,
//! whatever order the lines are in.

use crate::sheet::Row;

/// What stands above lines of no stage that come behind a stage's.
const OF_ALL: &str = "all of the work";

/// The rows of lines. `heading` is a line's stage, or empty where it has none or is its own heading.
pub(crate) fn headed<'l, L>(
    lines: &'l [L],
    heading: impl Fn(&'l L) -> &'l str,
    row: impl Fn(&'l L) -> Row,
) -> Vec<Row> {
    let (mut rows, mut of_all) = (Vec::new(), Vec::new());
    let mut groups: Vec<(&str, Vec<Row>)> = Vec::new();
    for line in lines {
        match heading(line) {
            "" if groups.is_empty() => rows.push(row(line)),
            "" => of_all.push(row(line)),
            name => match groups.iter_mut().find(|(known, _)| *known == name) {
                Some((_, under)) => under.push(row(line)),
                None => groups.push((name, vec![row(line)])),
            },
        }
    }
    if !of_all.is_empty() {
        groups.push((OF_ALL, of_all));
    }
    for (name, under) in groups {
        rows.push(Row::Group(name.to_owned()));
        rows.extend(under);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_heading_comes_once_and_what_is_of_all_comes_last() {
        let lines = [
            ("", "quote"),
            ("skim", "Ines"),
            ("patching", "Tobi"),
            ("", "deposit"),
            ("skim", "plaster"),
            ("", "not certified"),
        ];
        let rows = headed(&lines, |line| line.0, |line| Row::cells([line.1.to_owned()]));
        let words: Vec<String> = rows
            .iter()
            .map(|row| match row {
                Row::Group(name) => format!("[{name}]"),
                Row::Cells { cells, .. } => cells.join(" "),
            })
            .collect();
        assert_eq!(
            words,
            [
                "quote",
                "[skim]",
                "Ines",
                "plaster",
                "[patching]",
                "Tobi",
                "[all of the work]",
                "deposit",
                "not certified"
            ]
        );
    }
}
