//! Visits every state that can be reached, breadth first, and decides what is inevitable.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use super::Parts;
use super::world::{ACTIONS, Action, World};

/// A quick hash: millions of states are looked up, none of them chosen by an enemy.
#[derive(Default)]
pub struct Mixing(u64);

impl Hasher for Mixing {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u64(u64::from(byte));
        }
    }

    fn write_u8(&mut self, word: u8) {
        self.write_u64(u64::from(word));
    }

    fn write_u32(&mut self, word: u32) {
        self.write_u64(u64::from(word));
    }

    fn write_u64(&mut self, word: u64) {
        self.0 = (self.0.rotate_left(5) ^ word).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }

    fn write_usize(&mut self, word: usize) {
        self.write_u64(word as u64);
    }

    fn write_isize(&mut self, word: isize) {
        self.write_u64(word as u64);
    }
}

/// All that can be reached.
pub struct Reached {
    /// The states, in the order in which they were found.
    pub worlds: Vec<World>,
    places: HashMap<World, u32, BuildHasherDefault<Mixing>>,
    /// From where and by what each was found first.
    from: Vec<(u32, Option<Action>)>,
    /// Steps to the farthest.
    pub depth: u32,
    /// Steps that lead from one of them to another.
    pub steps: u64,
}

/// Visits everything.
///
/// # Errors
/// The text says that there are more than `most` states.
pub fn explore(parts: &Parts, most: usize) -> Result<Reached, String> {
    let first = World::new(parts);
    let mut reached = Reached {
        worlds: vec![first],
        places: HashMap::default(),
        from: vec![(0, None)],
        depth: 0,
        steps: 0,
    };
    reached.places.insert(first, 0);
    let (mut at, mut end_of_level) = (0_usize, 1_usize);
    while let Some(&world) = reached.worlds.get(at) {
        if at == end_of_level {
            reached.depth += 1;
            end_of_level = reached.worlds.len();
        }
        for action in ACTIONS {
            if !world.can(parts, action) {
                continue;
            }
            let next = world.after(parts, action);
            reached.steps += 1;
            let place = u32::try_from(reached.worlds.len()).unwrap_or(u32::MAX);
            if let std::collections::hash_map::Entry::Vacant(vacant) = reached.places.entry(next) {
                vacant.insert(place);
                reached.worlds.push(next);
                reached
                    .from
                    .push((u32::try_from(at).unwrap_or(u32::MAX), Some(action)));
                if reached.worlds.len() > most {
                    return Err(format!("more than {most} states; the last: {next:?}"));
                }
            }
        }
        at += 1;
    }
    Ok(reached)
}

impl Reached {
    /// How the first state that is `wrong` comes about; `None` when there is none.
    #[must_use]
    pub fn first(&self, wrong: impl Fn(&World) -> bool) -> Option<String> {
        let place = self.worlds.iter().position(wrong)?;
        Some(self.way_to(place))
    }

    /// The steps to a state, and the state.
    #[must_use]
    pub fn way_to(&self, place: usize) -> String {
        let mut actions = Vec::new();
        let mut at = place;
        while let Some(&(before, Some(action))) = self.from.get(at) {
            actions.push(action);
            at = before as usize;
        }
        actions.reverse();
        format!("{actions:?}\nleads to {:#?}", self.worlds.get(place))
    }

    /// Whether from every state where `begin` holds, once nothing more goes wrong, one where `goal` holds is
    /// inevitable. `None` when it is; else a way to a state in which it may never come.
    ///
    /// "Nothing more goes wrong": only [`Action::goes_on`]. "Inevitable": on every path along which whatever is due
    /// ([`Action::is_due`]) all the time is done at some time. A path without end stays in one strongly connected part
    /// of the states without the goal; it is possible when each action is, somewhere in that part, not due, or done
    /// there without leaving it.
    #[must_use]
    pub fn never(
        &self,
        parts: &Parts,
        begin: impl Fn(&World) -> bool,
        goal: impl Fn(&World) -> bool,
    ) -> Option<String> {
        let mut graph = Graph::new(self, parts, goal);
        for (place, world) in self.worlds.iter().enumerate() {
            if begin(world)
                && let Some(stuck) = graph.stuck_from(place)
            {
                return Some(self.way_to(stuck));
            }
        }
        None
    }
}

/// Tarjan's search for strongly connected parts, without recursion, over the states without the goal.
struct Graph<'a, G> {
    reached: &'a Reached,
    parts: &'a Parts,
    goal: G,
    /// Order of discovery from 1, and lowest order reachable; 0: not seen.
    order: Vec<u32>,
    low: Vec<u32>,
    /// Whether it is on the stack of the parts that are not closed yet.
    open: Vec<bool>,
    stack: Vec<usize>,
    found: u32,
}

impl<'a, G: Fn(&World) -> bool> Graph<'a, G> {
    fn new(reached: &'a Reached, parts: &'a Parts, goal: G) -> Self {
        let count = reached.worlds.len();
        Self {
            reached,
            parts,
            goal,
            order: vec![0; count],
            low: vec![0; count],
            open: vec![false; count],
            stack: Vec::new(),
            found: 0,
        }
    }

    /// Where a step that goes on leads, unless to the goal.
    fn next(&self, place: usize, action: Action) -> Option<usize> {
        let world = self.reached.worlds.get(place)?;
        if !action.goes_on() || !world.can(self.parts, action) {
            return None;
        }
        let next = world.after(self.parts, action);
        if (self.goal)(&next) {
            return None;
        }
        self.reached.places.get(&next).map(|&place| place as usize)
    }

    fn get(list: &[u32], place: usize) -> u32 {
        list.get(place).copied().unwrap_or(0)
    }

    fn discover(&mut self, place: usize) {
        self.found += 1;
        for list in [&mut self.order, &mut self.low] {
            if let Some(entry) = list.get_mut(place) {
                *entry = self.found;
            }
        }
        if let Some(open) = self.open.get_mut(place) {
            *open = true;
        }
        self.stack.push(place);
    }

    fn lower(&mut self, place: usize, to: u32) {
        if let Some(low) = self.low.get_mut(place) {
            *low = (*low).min(to);
        }
    }

    /// A state in which a path from `start` may stay for ever without the goal.
    fn stuck_from(&mut self, start: usize) -> Option<usize> {
        let seen = Self::get(&self.order, start) != 0;
        if seen
            || self
                .reached
                .worlds
                .get(start)
                .is_none_or(|world| (self.goal)(world))
        {
            return None;
        }
        self.discover(start);
        let mut path = vec![(start, 0_usize)];
        while let Some((place, action)) = path.last_mut() {
            let place = *place;
            if let Some(&step) = ACTIONS.get(*action) {
                *action += 1;
                let Some(next) = self.next(place, step) else {
                    continue;
                };
                if Self::get(&self.order, next) == 0 {
                    self.discover(next);
                    path.push((next, 0));
                } else if self.open.get(next) == Some(&true) {
                    let order = Self::get(&self.order, next);
                    self.lower(place, order);
                }
                continue;
            }
            path.pop();
            let low = Self::get(&self.low, place);
            if let Some(&(before, _)) = path.last() {
                self.lower(before, low);
            }
            if low == Self::get(&self.order, place) {
                let part = self.close(place);
                if self.may_stay(&part) {
                    return Some(place);
                }
            }
        }
        None
    }

    /// Takes the part whose first state is `place` off the stack.
    fn close(&mut self, place: usize) -> Vec<usize> {
        let from = self.stack.iter().rposition(|&one| one == place).unwrap_or(0);
        let part = self.stack.split_off(from);
        for &one in &part {
            if let Some(open) = self.open.get_mut(one) {
                *open = false;
            }
        }
        part
    }

    /// Whether a path may stay in `part` for ever.
    fn may_stay(&self, part: &[usize]) -> bool {
        let inside: std::collections::HashSet<usize> = part.iter().copied().collect();
        ACTIONS
            .into_iter()
            .filter(|action| action.goes_on())
            .all(|action| {
                part.iter().any(|&place| {
                    let due = self
                        .reached
                        .worlds
                        .get(place)
                        .is_some_and(|world| world.can(self.parts, action) && action.is_due(world));
                    !due || self
                        .next(place, action)
                        .is_some_and(|next| inside.contains(&next))
                })
            })
    }
}
