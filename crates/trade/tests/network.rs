//! Critical path: two published networks with their floats, a general graph library, and circles.

use petgraph::algo::{is_cyclic_directed, toposort};
use petgraph::graph::DiGraph;
use petgraph::visit::EdgeRef;
use proptest::prelude::*;
use trade::network::{Activity, Link, NetworkError, in_order, times};

mod table;

/// A network from rows of a name, a duration and the names that it follows.
fn network(rows: &[(&str, u64, &str)]) -> Vec<Activity> {
    let place = |name: &str| rows.iter().position(|row| row.0 == name).unwrap();
    let links = |after: &str| {
        let names = after.split(',').map(str::trim).filter(|name| !name.is_empty());
        names.map(|name| Link { from: place(name), lag: 0 }).collect()
    };
    rows.iter().map(|(_, duration, after)| Activity { duration: *duration, after: links(after) }).collect()
}

/// Hendrickson, *Project Management for Construction*, table 10-2. The event times 0, 4, 12, 21, 24 and 30
/// stood in the text that was read; the floats are computed from them.
#[test]
fn the_nine_activity_network_has_its_published_times() {
    let table = "
        act | dur | after | start | finish | total | free | source
        A   | 4   |       | 0     | 4      | 0     | 0    | Hendrickson, table 10-2
        B   | 3   |       | 0     | 3      | 9     | 9    | seen+comp
        C   | 8   | A     | 4     | 12     | 0     | 0    | seen+comp
        D   | 7   | A     | 4     | 11     | 11    | 10   | seen+comp
        E   | 9   | B, C  | 12    | 21     | 1     | 0    | seen+comp
        F   | 12  | B, C  | 12    | 24     | 0     | 0    | seen+comp
        G   | 2   | D, E  | 21    | 23     | 1     | 1    | seen+comp
        H   | 5   | D, E  | 21    | 26     | 4     | 4    | seen+comp
        I   | 6   | F, G  | 24    | 30     | 0     | 0    | seen+comp";
    let rows = table::rows::<8>(table);
    let number = |text: &str| text.parse::<u64>().unwrap();
    let listed: Vec<_> = rows.iter().map(|row| (row[0], number(row[1]), row[2])).collect();
    let found = times(&network(&listed)).unwrap();
    for (row, found) in rows.iter().zip(&found) {
        let wanted = [3, 4, 5, 6].map(|column| number(row[column]));
        let got = [found.early_start, found.early_finish, found.total_float, found.free_float];
        assert_eq!(got, wanted, "{}", row[0]);
    }
    let critical = rows.iter().zip(&found).filter(|(_, found)| found.total_float == 0);
    assert_eq!(critical.map(|(row, _)| row[0]).collect::<String>(), "ACFI");
}

/// Taylor, *Introduction to Management Science*, chapter 8: earliest and latest times and slack, all seen.
#[test]
fn the_seven_activity_network_has_its_published_times() {
    let table = "
        act | dur | after    | ES | EF | LS | LF | slack | source
        1-2 | 7   |          | 0  | 7  | 2  | 9  | 2     | Taylor, ch. 8, seen
        1-3 | 10  |          | 0  | 10 | 0  | 10 | 0     | seen
        2-4 | 6   | 1-2      | 7  | 13 | 9  | 15 | 2     | seen
        3-4 | 5   | 1-3      | 10 | 15 | 10 | 15 | 0     | seen
        3-5 | 4   | 1-3      | 10 | 14 | 14 | 18 | 4     | seen
        4-5 | 3   | 2-4, 3-4 | 15 | 18 | 15 | 18 | 0     | seen
        5-6 | 2   | 4-5, 3-5 | 18 | 20 | 18 | 20 | 0     | seen";
    let rows = table::rows::<9>(table);
    let number = |text: &str| text.parse::<u64>().unwrap();
    let listed: Vec<_> = rows.iter().map(|row| (row[0], number(row[1]), row[2])).collect();
    for (row, found) in rows.iter().zip(times(&network(&listed)).unwrap()) {
        let wanted = [3, 4, 5, 6, 7].map(|column| number(row[column]));
        let got =
            [found.early_start, found.early_finish, found.late_start, found.late_finish, found.total_float];
        assert_eq!(got, wanted, "{}", row[0]);
    }
}

/// A wait is time of its own: 24 units between plaster and second fix move the end by as much.
#[test]
fn a_lag_counts_in_both_passes() {
    let after = |from, lag| vec![Link { from, lag }];
    let activities = [
        Activity { duration: 8, after: Vec::new() },
        Activity { duration: 4, after: after(0, 24) },
        Activity { duration: 10, after: after(0, 0) },
    ];
    let found = times(&activities).unwrap();
    assert_eq!((found[1].early_start, found[1].early_finish), (32, 36));
    assert_eq!((found[0].late_finish, found[0].total_float, found[0].free_float), (8, 0, 0));
    assert_eq!((found[2].total_float, found[2].free_float), (18, 18));
}

#[test]
fn a_circle_names_who_stands_in_it_and_nobody_else() {
    let rows = [("base", 1, ""), ("a", 1, "c, base"), ("b", 1, "a"), ("c", 1, "b"), ("waits for it", 1, "c")];
    let Err(NetworkError::Circle(circle)) = times(&network(&rows)) else { panic!("no circle found") };
    let mut names: Vec<_> = circle.iter().map(|at| rows[*at].0).collect();
    for pair in circle.windows(2) {
        assert!(network(&rows)[pair[1]].after.iter().any(|link| link.from == pair[0]), "{circle:?}");
    }
    names.sort_unstable();
    assert_eq!(names, ["a", "b", "c"]);
    let alone = [Activity { duration: 1, after: vec![Link { from: 0, lag: 0 }] }];
    assert_eq!(times(&alone), Err(NetworkError::Circle(vec![0])));
    let lost = [Activity { duration: 1, after: vec![Link { from: 7, lag: 0 }] }];
    assert_eq!(times(&lost), Err(NetworkError::NotThere { at: 0 }));
    assert_eq!(times(&[]), Ok(Vec::new()));
}

/// Any small network; with circles where `forward_only` is false.
fn networks(forward_only: bool) -> impl Strategy<Value = Vec<Activity>> {
    let size = 1_usize..12;
    size.prop_flat_map(move |size| {
        let links = prop::collection::vec((0..size, 0..size, 0_u64..20), 0..size * 2);
        (prop::collection::vec(0_u64..30, size), links).prop_map(move |(durations, links)| {
            let mut activities: Vec<Activity> =
                durations.into_iter().map(|duration| Activity { duration, after: Vec::new() }).collect();
            for (one, other, lag) in links {
                let (from, to) = if forward_only { (one.min(other), one.max(other)) } else { (one, other) };
                if !(forward_only && from == to) {
                    activities[to].after.push(Link { from, lag });
                }
            }
            activities
        })
    })
}

/// The longest way to each node by the graph library's own order: a second program for the forward pass.
fn graph_of(activities: &[Activity]) -> DiGraph<u64, u64> {
    let mut graph = DiGraph::new();
    let nodes: Vec<_> = activities.iter().map(|activity| graph.add_node(activity.duration)).collect();
    for (at, activity) in activities.iter().enumerate() {
        for link in &activity.after {
            graph.add_edge(nodes[link.from], nodes[at], link.lag);
        }
    }
    graph
}

/// The longest path from each node to the end and to each node from the start, by brute recursion.
fn longest_after(graph: &DiGraph<u64, u64>, node: petgraph::graph::NodeIndex) -> u64 {
    let after = graph.edges(node).map(|edge| edge.weight() + longest_after(graph, edge.target()));
    graph[node] + after.max().unwrap_or(0)
}

proptest! {
    #[test]
    fn a_graph_library_finds_the_same_starts_floats_and_end(activities in networks(true)) {
        let graph = graph_of(&activities);
        let mut start = vec![0; activities.len()];
        for node in toposort(&graph, None).unwrap() {
            for edge in graph.edges(node) {
                let through = start[node.index()] + graph[node] + edge.weight();
                let known = &mut start[edge.target().index()];
                *known = (*known).max(through);
            }
        }
        let end = graph.node_indices().map(|node| start[node.index()] + graph[node]).max().unwrap();
        for (node, found) in graph.node_indices().zip(times(&activities).unwrap()) {
            prop_assert_eq!(found.early_start, start[node.index()]);
            prop_assert_eq!(found.total_float, end - start[node.index()] - longest_after(&graph, node));
            prop_assert!(found.free_float <= found.total_float);
            prop_assert_eq!(found.late_finish - found.late_start, graph[node]);
        }
    }

    #[test]
    fn a_circle_is_found_where_the_graph_library_finds_one(activities in networks(false)) {
        match in_order(&activities) {
            Ok(order) => {
                prop_assert!(!is_cyclic_directed(&graph_of(&activities)));
                let place = |at: usize| order.iter().position(|ordered| *ordered == at).unwrap();
                for (at, activity) in activities.iter().enumerate() {
                    prop_assert!(activity.after.iter().all(|link| place(link.from) < place(at)));
                }
            }
            Err(NetworkError::Circle(circle)) => {
                prop_assert!(is_cyclic_directed(&graph_of(&activities)));
                for (at, activity) in circle.iter().enumerate() {
                    let before = circle[(at + circle.len() - 1) % circle.len()];
                    prop_assert!(activities[*activity].after.iter().any(|link| link.from == before));
                }
            }
            Err(NetworkError::NotThere { .. }) => prop_assert!(false, "every link leads somewhere"),
        }
    }

    /// Slipping by no more than its float moves no end; by one more, it does.
    #[test]
    fn a_float_is_just_as_long_as_it_says(activities in networks(true), at in 0_usize..12) {
        let at = at % activities.len();
        let before = times(&activities).unwrap();
        let end = |found: &[trade::network::Times]| found.iter().map(|found| found.early_finish).max();
        let slipped = |by: u64| {
            let mut slipped = activities.clone();
            slipped[at].duration += by;
            end(&times(&slipped).unwrap())
        };
        prop_assert_eq!(slipped(before[at].total_float), end(&before));
        prop_assert!(slipped(before[at].total_float + 1) > end(&before));
    }
}
