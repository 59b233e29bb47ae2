//! Phrases that say something by themselves, and qualities that say something beside their subject. Tables only.

use std::borrow::Cow;

use super::Count::{self, *};
use super::lexicon::{Fact, How, Lexicon, Sense, Slot, State, Subject};
use super::words::split;
use super::{Kind, Lid, Tie, TrapState};

/// A phrase's fact, in a form a table can hold.
enum Say {
    /// A verdict on one crab.
    Add(Count, u32),
    /// A total.
    Is(Count, u32),
    /// A state.
    Be(State),
}
use Say::{Add, Be, Is};

const fn bottom(word: &'static str) -> Say {
    Be(State::Bottom(Cow::Borrowed(word)))
}

const SAYS: &[(&[Say], &str)] = &[
    (
        &[Is(Crabs, 0)],
        "empty|nothing home|nobody home|no one home|blank|came up blank|came up empty|skunked|zip|nada|water haul",
    ),
    (
        &[Add(Keepers, 1)],
        "makes the gauge|makes gauge|he makes it|she makes it|makes the cut|makes legal|makes the measure",
    ),
    (
        &[Add(Shorts, 1)],
        "a hair under|hair under|just under|a touch under|does not make it|do not make it|did not make it|will not make it|\
        does not make the gauge|will not make the gauge|does not measure|neither claw makes it|neither makes it|too small|not big enough|\
        right on the line , leave him|right on the line , leave her|right on the line , leave it|on the line , leave him|\
        right on the line leave him|right on the line leave her|right on the line leave it|on the line leave him|not quite legal",
    ),
    (
        &[Add(Keepers, 1), Add(Claws, 1)],
        "one off her|one off him|one off this one|took one off her|took one off him|one claw off him|one claw off her",
    ),
    (
        &[Add(Claws, 1), Add(Crushers, 1)],
        "took the big one|took the crusher|took the big claw|taking the crusher|taking the big one|took his crusher|took her crusher",
    ),
    (
        &[Add(Claws, 1), Add(Pincers, 1)],
        "took the pincer|took the small one|took the small claw|taking the pincer",
    ),
    (
        &[Add(Keepers, 1), Add(Both, 1), Add(Claws, 2)],
        "took both|took both claws|taking both|taking both claws|took them both|both off him|both off her|took both off him|took both off her",
    ),
    (
        &[Add(Claws, 1)],
        "he dropped it himself|she dropped it herself|dropped it himself|dropped it herself|dropped his claw|dropped her claw|\
        he threw it himself|threw the claw|dropped the claw",
    ),
    (
        &[Add(BadBreaks, 1)],
        "ragged one|tore some meat|tore meat|tore the meat|broke badly|bad break on that one",
    ),
    (
        &[Add(Berried, 1)],
        "carrying eggs|she has eggs|she has got eggs|with eggs|has eggs|full of eggs|eggs on her|eggs under her|got eggs",
    ),
    (&[Add(LeftHanded, 1)], "crusher is on the left|crusher on the left"),
    (&[Add(RightHanded, 1)], "crusher is on the right|crusher on the right"),
    (&[Add(Soft, 1)], "just shed|just moulted|just molted"),
    // Bait.
    (&[Be(State::BaitLeft(0.0))], "picked clean|no bait left|baited out"),
    (
        &[Be(State::BaitLeft(0.1))],
        "just the head and bones|head and bones|just bones|only bones|just the bones|only the head left",
    ),
    (
        &[Be(State::BaitLeft(0.5))],
        "half of it is left|half of it left|half the bait is left|half the bait left|half the bait is gone|half the bait gone|half is left|half left|half of the bait left",
    ),
    (
        &[Be(State::BaitAdded(true))],
        "topping it up|topping up|topped it up|topped up|rebaited|re baited|rebaiting|baited up|baiting up",
    ),
    (
        &[Be(State::BaitAdded(false))],
        "no fresh bait|no new bait|did not rebait|not rebaited|not rebaiting|no rebait|left the bait|leaving the bait",
    ),
    // Tie, lid, trap.
    (&[Be(State::Tie(Tie::Missing))], "no tie|no tie on|no tie on it|no tie on this one|no tie on her"),
    (&[Be(State::TieNew(true))], "new tie|new tie on|new tie going on|put a new tie on|retied|fresh tie"),
    (
        &[Be(State::Tampered(true))],
        "somebody has been in here|somebody is been in here|someone is been in here|someone has been in here|somebody was in here|\
        someone was in here|somebody is been in this one|someone is been in this one|been robbed|robbed|tampered|tampered with|\
        been tampered with|somebody is been at it|someone is been at it|somebody has been at it|someone has been at it",
    ),
    (
        &[Be(State::Trap(TrapState::Moved))],
        "not where i left it|not where we left it|not where i set it|not where we set it|dragged off|been dragged|it is moved|has moved|been moved",
    ),
    (
        &[Be(State::Trap(TrapState::Fouled))],
        "line is wrapped|line wrapped|line is wrapped up|line is tangled|line tangled|line is fouled|line fouled|fouled|wrapped round|wrapped around|tangled up|hung up",
    ),
    (
        &[Be(State::Trap(TrapState::Missing)), Be(State::Kind(Kind::Visit))],
        "can not find the buoy|can not find buoy|can not find the trap|can not find it|no buoy|buoy is gone|buoy gone|buoy missing|buoy is missing|no trap|no sign of it",
    ),
    (
        &[Be(State::TakenIn(true))],
        "taking this one home|taking it home|taking her home|taking that one home|taking this one in|bringing this one in|\
        bringing this one home|taken in|took it in|pulling it out|taking it in|taking this trap home|taking it aboard",
    ),
    // Kinds of stop.
    (
        &[Be(State::Kind(Kind::Visit))],
        "leave that one|leaving that one|leave this one|leaving this one|let it soak|let her soak|letting it soak|leave it soak|not pulling this one|not pulling it|skip this one|skipping this one",
    ),
    (
        &[Be(State::Kind(Kind::Set))],
        "back down|is back down|going deeper with this one|going deeper|going shallower|dropping it|dropping it right here|dropping here|\
        dropping it here|dropping right here|setting here|setting it here|setting it|set it here|new spot|dropping this one here|dropping this one|\
        putting it down here|dropped here|dropping her here|dropping her|back in the water|back overboard",
    ),
    (
        &[Be(State::Mark)],
        "mark this one|mark that one|mark this|mark that|mark it|mark the note|save that shell|save this shell|save the shell|mark this note|flag this one|flag that one",
    ),
    // Bottom, where the word itself names it.
    (&[bottom("grass")], "on the grass edge|grass edge|on the grass|on grass|in the grass"),
    (&[bottom("sand")], "on the sand|on sand"),
    (&[bottom("rock")], "on the rocks|on rock|on the rock"),
    (&[bottom("mud")], "on the mud|on mud|in the mud|in mud"),
];

/// Subject, what it says, and the qualities that say it.
const PAIRS: &[(Subject, Say, &str)] = &[
    (Subject::Bait, Be(State::BaitLeft(0.0)), "gone|all gone|empty|cleaned out|finished|picked clean"),
    (
        Subject::Bait,
        Be(State::BaitLeft(0.25)),
        "quarter|quarter left|three quarters gone|three quarter gone|mostly gone|nearly gone|almost gone",
    ),
    (
        Subject::Bait,
        Be(State::BaitLeft(0.5)),
        "half|about half|about half gone|about half left|half gone|half left|half full|half the|half of the|half eaten",
    ),
    (Subject::Bait, Be(State::BaitLeft(0.75)), "good|still good|three quarters|three quarter|mostly there"),
    (Subject::Bait, Be(State::BaitLeft(0.9)), "hardly touched|barely touched"),
    (Subject::Bait, Be(State::BaitLeft(1.0)), "full|whole|untouched|not touched|all there|still full"),
    (Subject::Bait, Be(State::BaitAdded(true)), "fresh|new|fresh going in|added|replaced"),
    (Subject::Bait, Be(State::BaitAdded(false)), "old|same|same old"),
    (
        Subject::Tie,
        Be(State::Tie(Tie::Intact)),
        "still on|intact|good|still good|fine|ok|okay|is on|whole|not broken|holding|unbroken|still there|all good",
    ),
    (
        Subject::Tie,
        Be(State::Tie(Tie::Broken)),
        "broken|already broken|broke|snapped|rotted|rotted through|busted|parted|rotten|rusted through",
    ),
    (Subject::Tie, Be(State::Tie(Tie::Missing)), "missing|gone|all gone"),
    (Subject::Lid, Be(State::Lid(Lid::Open)), "open|hanging open|wide open|ajar"),
    (Subject::Lid, Be(State::Lid(Lid::Shut)), "shut|closed|still shut|still closed|not open"),
    (
        Subject::Trap,
        Be(State::Trap(TrapState::Good)),
        "fine|ok|okay|sound|good|in good shape|intact|all good",
    ),
    (
        Subject::Trap,
        Be(State::Trap(TrapState::Damaged)),
        "damaged|busted|broken|smashed|crushed|broke|stove in|bent",
    ),
    (Subject::Trap, Be(State::Trap(TrapState::Fouled)), "fouled|tangled|snagged|hung up|wrapped"),
    (Subject::Trap, Be(State::Trap(TrapState::Moved)), "moved|dragged"),
    (Subject::Trap, Be(State::Trap(TrapState::Missing)), "missing|gone|lost"),
    (
        Subject::Slats,
        Be(State::Trap(TrapState::Damaged)),
        "damaged|busted|broken|smashed|crushed|broke|missing|bent|torn|cracked",
    ),
    (Subject::Bottom, bottom("hard"), "hard"),
    (Subject::Bottom, bottom("soft"), "soft"),
    (Subject::Bottom, bottom("grass"), "grass|grassy|weedy|seagrass"),
    (Subject::Bottom, bottom("sand"), "sand|sandy"),
    (Subject::Bottom, bottom("mud"), "mud|muddy"),
    (Subject::Bottom, bottom("rock"), "rock|rocky|rocks"),
    (Subject::Bottom, bottom("rubble"), "rubble"),
];

/// "that is", "he is"… before what a crab is not.
const ONE_CRAB: &str = "that|he|she|it|this one|that one";
const NOT_LEGAL: &str = "not a keeper|not legal|not a legal one|not a legal|not quite legal|not big enough";

impl Say {
    fn fact(&self) -> Fact {
        let number = |count: &Count, how, n: &u32| Fact::Number { slot: Slot::Count(*count), how, n: *n };
        match self {
            Add(count, n) => number(count, How::Verdict, n),
            Is(count, n) => number(count, How::Total, n),
            Be(state) => Fact::State(state.clone()),
        }
    }
}

/// What a subject and a quality say together.
pub(super) fn pair(subject: Subject, quality: &str) -> Option<Fact> {
    let says =
        |row: &&(Subject, Say, &'static str)| row.0 == subject && split(row.2).any(|word| word == quality);
    PAIRS.iter().find(says).map(|(_, say, _)| say.fact())
}

/// Puts every phrase of these tables into a lexicon.
pub(super) fn fill(lexicon: &mut Lexicon) {
    for (says, phrases) in SAYS {
        let facts: Vec<Fact> = says.iter().map(Say::fact).collect();
        split(phrases).for_each(|phrase| lexicon.add(phrase, Sense::Says(facts.clone())));
    }
    let short = Sense::Says(vec![Add(Shorts, 1).fact()]);
    for subject in split(ONE_CRAB) {
        for verdict in split(NOT_LEGAL) {
            for be in ["is", "was"] {
                lexicon.add(&format!("{subject} {be} {verdict}"), short.clone());
            }
        }
    }
    for (_, _, qualities) in PAIRS {
        split(qualities).for_each(|quality| lexicon.add_new(quality, Sense::Quality));
    }
}
