use super::{Protocol, ProtocolError};

/// The texts that come with Serrata.
const TEXTS: [&str; 9] = [
    include_str!("../../../../protocols/first-look.toml"),
    include_str!("../../../../protocols/diabetes.toml"),
    include_str!("../../../../protocols/macular-faf.toml"),
    include_str!("../../../../protocols/five-gazes.toml"),
    include_str!("../../../../protocols/fa.toml"),
    include_str!("../../../../protocols/icg.toml"),
    include_str!("../../../../protocols/icg-then-fa.toml"),
    include_str!("../../../../protocols/fa-with-icg.toml"),
    include_str!("../../../../protocols/follow-up.toml"),
];

impl Protocol {
    /// The protocols that come with Serrata.
    ///
    /// # Errors
    /// Never in a released build: a test reads them all.
    pub fn shipped() -> Result<Vec<Self>, ProtocolError> {
        TEXTS.into_iter().map(Self::from_toml).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Ask, EarlierFrame, Question};
    use serrata_words::{Eye, Gaze, Modality, Rank, View};

    fn named(name: &str) -> Protocol {
        Protocol::shipped().unwrap().into_iter().find(|p| p.name == name).unwrap()
    }

    fn lines(views: &[View]) -> String {
        let one = |v: &View| {
            let when = v
                .window
                .map_or(if v.before_dye { "before dye".into() } else { String::new() }, |w| w.to_string());
            format!(
                "{:6} {} | {}{}",
                v.rank,
                crate::named(v),
                when,
                if v.if_reach_fails { "if reach fails" } else { "" }
            )
        };
        views.iter().map(one).collect::<Vec<_>>().join("\n")
    }

    fn all(one_shot: bool) -> String {
        let mut text = String::new();
        for p in Protocol::shipped().unwrap() {
            let ask = Ask { transit: Some(Eye::L), one_shot, ..Ask::default() };
            let plan = if p.repeats_earlier { p.plan_of(&ask) } else { p.plan(&ask) }.unwrap();
            text += &format!("{} ({})\n{}\n\n", p.title, p.source, lines(&plan.views));
        }
        text
    }

    #[test]
    fn the_plans_of_all_protocols() {
        insta::assert_snapshot!(all(false));
    }

    #[test]
    fn the_short_forms_of_all_protocols() {
        insta::assert_snapshot!(all(true));
        for p in Protocol::shipped().unwrap() {
            assert!(!p.one_shot.is_empty(), "{} has no short form", p.name);
        }
    }

    #[test]
    fn the_transit_eye_is_asked_and_never_assumed() {
        for name in ["fa", "icg", "icg-then-fa", "fa-with-icg"] {
            assert_eq!(
                named(name).plan(&Ask { eyes: vec![Eye::R], ..Ask::default() }),
                Err(Question::TransitEye),
                "{name}"
            );
        }
    }

    #[test]
    fn the_complaint_comes_first_and_temporal_depends_on_the_eye() {
        let p = named("first-look").plan(&Ask { first: Some(Eye::L), ..Ask::default() }).unwrap();
        assert_eq!(p.views[0].name, "colour ahead L");
        let p = named("five-gazes").plan(&Ask::default()).unwrap();
        let temporal = |n: &str| p.views.iter().find(|v| v.name == n).unwrap().gaze;
        assert_eq!((temporal("colour temporal R"), temporal("colour temporal L")), (Gaze::Right, Gaze::Left));
    }

    #[test]
    fn options_change_the_rank_and_unknown_ones_are_told() {
        let p = named("five-gazes");
        let rank = |options: &[&str]| {
            let ask = Ask { options: options.iter().map(|s| (*s).to_owned()).collect(), ..Ask::default() };
            p.plan(&ask).unwrap().views.iter().find(|v| v.name == "colour nasal R").unwrap().rank
        };
        assert_eq!((rank(&[]), rank(&["full"])), (Rank::Should, Rank::Must));
        let e = p.plan(&Ask { options: vec!["fast".into()], ..Ask::default() }).unwrap_err().to_string();
        assert!(e.contains("fast") && e.contains("full"), "{e}");
    }

    #[test]
    fn a_follow_up_repeats_each_marked_picture_once() {
        let p = named("follow-up");
        assert_eq!(p.plan(&Ask::default()), Err(Question::Earlier));
        assert_eq!(p.follow_up(&[], &Ask::default()), Err(Question::Earlier));
        let mark = |gaze, marked: &str| EarlierFrame {
            eye: Eye::R,
            modality: Modality::Colour,
            gaze,
            phase: None,
            window: None,
            marked: marked.into(),
        };
        let earlier =
            [mark(Gaze::Down, "lesion a"), mark(Gaze::Down, "lesion b"), mark(Gaze::Primary, "lesion c")];
        let views = p.follow_up(&earlier, &Ask::default()).unwrap().views;
        assert_eq!(views.len(), 2, "{views:?}");
        assert_eq!(views[0].shows.len(), 2);
        let down_only = p.follow_up(&earlier[..2], &Ask::default()).unwrap().views;
        assert_eq!((down_only.len(), down_only[1].rank), (2, Rank::Should), "the ahead frame is wanted");
    }

    /// The times of the protocol comparison in IOVS abstract 2373310: study eye to 30 s, fellow 30 to 50 s, late
    /// frames at 5 and 10 min. Its doses and rates are no advice and occur nowhere.
    #[test]
    fn fluorescein_times_hold_those_of_the_published_comparison() {
        let views = named("fa").plan(&Ask { transit: Some(Eye::R), ..Ask::default() }).unwrap().views;
        let held = |eye: Eye, s: i64| {
            views.iter().any(|v| v.eye == Some(eye) && v.window.is_some_and(|w| w.contains(s * 1000)))
        };
        assert!((10..=30).all(|s| held(Eye::R, s)));
        assert!((30..=50).all(|s| held(Eye::L, s)));
        for eye in [Eye::R, Eye::L] {
            assert!(held(eye, 300) && held(eye, 600));
        }
    }
}
