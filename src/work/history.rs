//! Undo and redo: whole values with a label, committed when a gesture ends.

/// How many steps are kept; the oldest go first.
const MOST_STEPS: usize = 400;

/// A value and the way it came there.
#[derive(Debug, Clone)]
pub struct History<T> {
    steps: Vec<Step<T>>,
    at: usize,
    // A gesture that still goes on: seen, but not yet a step.
    ongoing: Option<Step<T>>,
}

/// A value and what was done to get it.
#[derive(Debug, Clone, PartialEq)]
pub struct Step<T> {
    /// In words, as a menu shows it: "Hue of Ha".
    pub label: String,
    /// The value after it.
    pub value: T,
}

impl<T: Clone + PartialEq> History<T> {
    /// Starts with one value.
    pub fn new(label: impl Into<String>, value: T) -> Self {
        Self {
            steps: vec![Step {
                label: label.into(),
                value,
            }],
            at: 0,
            ongoing: None,
        }
    }

    /// The value now, a gesture that goes on included.
    pub fn current(&self) -> &T {
        self.ongoing
            .as_ref()
            .map_or(&self.steps[self.at].value, |step| &step.value)
    }

    /// The value as of the last whole step.
    pub fn settled(&self) -> &T {
        &self.steps[self.at].value
    }

    /// Shows a value while a gesture goes on; it becomes a step with [`Self::commit`].
    pub fn propose(&mut self, label: impl Into<String>, value: T) {
        self.ongoing = Some(Step {
            label: label.into(),
            value,
        });
    }

    /// Ends a gesture: one step, however often it moved; none where it came
    /// back to where it began. Whatever was undone before can no longer be redone.
    pub fn commit(&mut self) {
        let Some(step) = self.ongoing.take() else {
            return;
        };
        if step.value == self.steps[self.at].value {
            return;
        }
        self.steps.truncate(self.at + 1);
        self.steps.push(step);
        if self.steps.len() > MOST_STEPS {
            self.steps.remove(0);
        }
        self.at = self.steps.len() - 1;
    }

    /// A gesture is taken back before its end.
    pub fn abandon(&mut self) {
        self.ongoing = None;
    }

    /// One whole step.
    pub fn set(&mut self, label: impl Into<String>, value: T) {
        self.commit();
        self.propose(label, value);
        self.commit();
    }

    /// Changes the value in every step alike: for what is found out later and
    /// was nobody's decision.
    pub fn amend(&mut self, change: impl Fn(&mut T)) {
        for step in self.steps.iter_mut().chain(&mut self.ongoing) {
            change(&mut step.value);
        }
    }

    /// One step back; the label of what was undone.
    pub fn undo(&mut self) -> Option<&str> {
        self.commit();
        let before = self.at.checked_sub(1)?;
        self.at = before;
        Some(&self.steps[before + 1].label)
    }

    /// One step forward; the label of what was done again.
    pub fn redo(&mut self) -> Option<&str> {
        self.commit();
        if self.at + 1 >= self.steps.len() {
            return None;
        }
        self.at += 1;
        Some(&self.steps[self.at].label)
    }

    /// Goes to a step by its place in [`Self::steps`].
    pub fn go_to(&mut self, at: usize) {
        self.commit();
        self.at = at.min(self.steps.len() - 1);
    }

    /// All steps, the oldest first.
    pub fn steps(&self) -> &[Step<T>] {
        &self.steps
    }

    /// Which of them is the present one.
    pub fn at(&self) -> usize {
        self.at
    }

    /// What undo would take back.
    pub fn undo_label(&self) -> Option<&str> {
        (self.at > 0).then(|| self.steps[self.at].label.as_str())
    }

    /// What redo would bring back.
    pub fn redo_label(&self) -> Option<&str> {
        self.steps.get(self.at + 1).map(|step| step.label.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drag_is_one_step() {
        let mut history = History::new("Open", 0);
        for value in 1..50 {
            history.propose("Hue", value);
            assert_eq!(*history.current(), value);
            assert_eq!(*history.settled(), 0);
        }
        history.commit();
        assert_eq!(history.steps().len(), 2);
        assert_eq!(history.undo(), Some("Hue"));
        assert_eq!(*history.current(), 0);
        assert_eq!(history.redo(), Some("Hue"));
        assert_eq!(*history.current(), 49);
        assert_eq!(history.redo(), None);
    }

    #[test]
    fn a_gesture_that_comes_back_leaves_nothing() {
        let mut history = History::new("Open", 7);
        history.propose("Hue", 9);
        history.propose("Hue", 7);
        history.commit();
        assert_eq!(history.steps().len(), 1);
        history.propose("Hue", 9);
        history.abandon();
        assert_eq!(*history.current(), 7);
    }

    #[test]
    fn a_new_step_forgets_what_was_undone() {
        let mut history = History::new("Open", 0);
        history.set("One", 1);
        history.set("Two", 2);
        history.undo();
        history.undo();
        history.set("Three", 3);
        assert_eq!(history.redo_label(), None);
        assert_eq!(history.undo_label(), Some("Three"));
        history.undo();
        assert_eq!(history.undo(), None);
        assert_eq!(*history.current(), 0);
    }

    #[test]
    fn steps_are_bounded_and_what_is_found_out_later_holds_for_all() {
        let mut history = History::new("Open", (0, 0));
        for value in 1..1000 {
            history.set("Step", (value, 0));
        }
        assert_eq!(history.steps().len(), MOST_STEPS);
        assert_eq!(history.current().0, 999);
        history.amend(|value| value.1 = 5);
        while history.undo().is_some() {}
        assert_eq!(*history.current(), (999 - MOST_STEPS as i32 + 1, 5));
    }
}
