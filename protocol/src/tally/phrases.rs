//! English phrases that say something by themselves, and qualities that say something beside their subject.

use super::Count::*;
use super::language::Say::{self, Add, Be, Is};
use super::language::bottom;
use super::lexicon::{State, Subject};
use super::{Kind, Lid, Tie, TrapState};

pub(super) const SAYS: &[(&[Say], &str)] = &[
    (
        &[Is(Crabs, 0)],
        "empty|dead empty|stone empty|goose egg|bone dry|no crabs left|no crabs left in it|nothing home|nobody home|no one home|blank|came up blank|came up empty|skunked|zip|nada|water haul",
    ),
    (
        &[Add(Keepers, 1)],
        "he measures|she measures|it measures|that one measures|this one measures|measures up|he is big enough|she is big enough|\
        that one is big enough|this one is big enough|big enough to keep|makes the gauge|makes gauge|he makes it|she makes it|makes the cut|makes legal|makes the measure",
    ),
    (
        &[Add(Shorts, 1)],
        "just under the line|under the line|short of the mark|just short of the mark|just short of the gauge|short of the gauge|not quite there|not there yet|\
        not quite big enough|a hair short|just shy|a bit shy|bit shy of it|a bit shy of it|wee bit shy of it|a hair shy|a hair under|hair under|just under|a touch under|neither claw is big enough|neither claw on this one is big enough|neither is big enough|does not make it|do not make it|did not make it|will not make it|\
        does not make the gauge|will not make the gauge|does not measure|does not reach|does not reach the line|neither claw makes it|neither makes it|\
        right on the line , leave him|right on the line , leave her|right on the line , leave it|on the line , leave him|\
        right on the line leave him|right on the line leave her|right on the line leave it|on the line leave him|not quite legal",
    ),
    (
        &[Add(Keepers, 1), Add(Claws, 1)],
        "one off her|one off him|one off this one|took one off her|took one off him|one claw off him|one claw off her|\
        a claw off him|a claw off her|took a claw off him|took a claw off her|took one claw off him|took one claw off her|took the right claw off him|took the right claw off her|\
        took the left claw off him|took the left claw off her",
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
        "took both|took both claws|taking both|taking both claws|took them both|both off him|both off her|took both off him|took both off her|\
        two off him|two off her|two claws off him|two claws off her|took two off him|took two off her|both claws off him|both claws off her",
    ),
    (
        &[Add(Claws, 1)],
        "took one claw|took a claw|took the right claw|took the left claw|took the one claw|took just the one claw|took just one claw|he dropped it himself|she dropped it herself|dropped it himself|dropped it herself|dropped his claw|dropped her claw|\
        he threw it himself|threw the claw|dropped the claw",
    ),
    (
        &[Add(BadBreaks, 1)],
        "ragged one|tore some meat|tore meat|tore the meat|broke badly|broke it badly|broke it bad|bad break on that one",
    ),
    (&[Add(Berried, 1)], "she has eggs|she has got eggs|has eggs|eggs on her|eggs under her|got eggs"),
    (&[Add(LeftHanded, 1)], "crusher is on the left|crusher on the left"),
    (&[Add(RightHanded, 1)], "crusher is on the right|crusher on the right"),
    (&[Add(Regrown, 2)], "both regrown|both claws regrown|both claws are regrown|both are regrown"),
    (&[Add(Soft, 1)], "just shed|just moulted|just molted"),
    // Bait.
    (
        &[Be(State::BaitLeft(0.0))],
        "picked clean|picked to the bone|all eaten up|ate all the bait|bait is all eaten|no bait left|baited out",
    ),
    (
        &[Be(State::BaitLeft(0.1))],
        "down to bones|down to the bones|just the head and bones|head and bones|just bones|only bones|just the bones|only the head left",
    ),
    (
        &[Be(State::BaitLeft(0.5))],
        "half of it still there|half of it is still there|half still there|half is still there|half of it is left|half of it left|half the bait is left|half the bait left|half the bait is gone|half the bait gone|half is left|half left|half of the bait left",
    ),
    (
        &[Be(State::BaitAdded(true))],
        "gave her fresh|gave it fresh|topping it up|topping up|topped it up|topped up|rebaited|rebait|rebait with|re bait|re baited|rebaiting|baited up|baiting up",
    ),
    (
        &[Be(State::BaitAdded(false))],
        "did not bother with fresh bait|no rebait needed|no bait needed|bait is fine leave it|bait is fine , leaving it|no fresh bait|no new bait|did not rebait|not rebaited|not rebaiting|no rebait|left the bait|leaving the bait",
    ),
    // Tie, lid, trap.
    (
        &[Be(State::Tie(Tie::Broken)), Be(State::Tampered(true))],
        "somebody cut the tie|someone cut the tie|somebody is cut the tie|someone is cut the tie|somebody has cut the tie|\
        someone has cut the tie",
    ),
    (&[Be(State::Tie(Tie::Broken))], "tie is cut|tie was cut|tie has been cut|tie is already cut"),
    (&[Be(State::Tie(Tie::Missing))], "no tie|no tie on|no tie on it|no tie on this one|no tie on her"),
    (
        &[Be(State::TieNew(true))],
        "new tie|new ties|two new ties|new tie on|new tie going on|put a new tie on|retied|fresh tie|fresh ties",
    ),
    (
        &[Be(State::Tampered(true))],
        "somebody has been in here|somebody is been in here|someone is been in here|someone has been in here|somebody was in here|\
        someone was in here|somebody is been in this one|someone is been in this one|been robbed|robbed|robbed us|got robbed|somebody robbed us|someone robbed us|been raided|somebody raided it|tampered|tampered with|\
        been tampered with|somebody is robbed it|someone is robbed it|somebody robbed it|someone robbed it|somebody is been at this one|someone is been at this one|somebody is been at this trap|someone is been at this trap|somebody has been at this trap|\
        someone has been at this trap|somebody is been at it|someone is been at it|somebody has been at it|someone has been at it",
    ),
    (
        &[Be(State::Trap(TrapState::Moved))],
        "not where i left it|not where we left it|not where i set it|not where we set it|not where i dropped it|not where we dropped it|dragged off|been dragged|a long way from where i left it|a long way from where we left it|nowhere near where i left it|it is moved|has moved|been moved",
    ),
    (
        &[Be(State::Trap(TrapState::Fouled))],
        "line all tangled|line is all tangled|line all fouled|all tangled up|all snarled up|line is snagged|line snagged|snagged on something|snagged on a rock|line is snagged on a rock|line is wrapped|line wrapped|line is wrapped up|line is tangled|line tangled|line is fouled|line fouled|fouled|wrapped round|wrapped around|tangled up|tangled with another line|tangled with another trap|tangled in another line|hung up",
    ),
    (
        &[Be(State::Trap(TrapState::Missing)), Be(State::Kind(Kind::Visit))],
        "can not find the buoy|can not find buoy|can not find the trap|can not find it|no buoy|buoy is gone|buoy gone|buoy missing|buoy is missing|no trap|no sign of it|no sign of the trap|no sign of the buoy|no sign of this one|buoy is nowhere|nowhere to be seen",
    ),
    (
        &[Be(State::TakenIn(true))],
        "bring this trap home|bringing this trap home|will bring this trap home|we will bring this trap home|bringing it home|bringing her home|coming home with us|this one is coming home with us|going to take this one home|going to take this one in|\
        going to bring this one in|this one comes home|taking this one home|taking it home|taking her home|taking that one home|taking this one in|bringing this one in|\
        bringing this one home|taken in|took it in|pulling it out|taking it in|taking this trap home|taking it aboard",
    ),
    // Kinds of stop.
    (
        &[Be(State::Kind(Kind::Visit))],
        "leave her another night|leave it another night|leave this one another night|leave her another day|leaving her another day|leave this one another day|leaving this one another day|leave it another day|leaving it another day|\
        let this one soak|let that one soak|will let this one soak|will let that one soak|we will let this one soak|\
        we will let that one soak|we will let it soak|leave that one|leaving that one|leave this one|leaving this one|let it soak|let it soak another day|let her soak another day|let it soak another week|let her soak|letting it soak|leave it soak|not pulling this one|not pulling it|not pulling this one today|not pulling it today|skip this one|skipping this one",
    ),
    (
        &[Be(State::Kind(Kind::Set))],
        "putting her back right here|putting it back right here|putting her back here|putting it back here|putting it back down|putting her back down|back in she goes|back in it goes|in she goes|in it goes|down she goes|down it goes|there she goes|there it goes|\
        setting it a bit further out|setting her a bit further out|back down|is back down|going back down|is going back down|goes back down|going deeper with this one|going deeper|going shallower|dropping it|dropping it right here|dropping here|\
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
pub(super) const PAIRS: &[(Subject, Say, &str)] = &[
    (
        Subject::Bait,
        Be(State::BaitLeft(0.0)),
        "gone|all gone|empty|eaten|all eaten|eaten up|all eaten up|cleaned out|finished|picked clean",
    ),
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
    (
        Subject::Bait,
        Be(State::BaitLeft(0.9)),
        "not been looked at|hardly touched|barely touched|not been touched|has not been touched|is not been touched",
    ),
    (
        Subject::Bait,
        Be(State::BaitLeft(1.0)),
        "full|whole|like new|untouched|not touched|all there|still full",
    ),
    (Subject::Bait, Be(State::BaitAdded(true)), "fresh|new|fresh going in|added|replaced"),
    (Subject::Bait, Be(State::BaitAdded(false)), "old|same|same old"),
    (
        Subject::Tie,
        Be(State::Tie(Tie::Intact)),
        "still on|as i left it|just as i left it|as we left it|just as we left it|intact|right where i left it|right where we left it|good|still good|fine|ok|okay|is on|whole|not broken|holding|unbroken|still there|all good",
    ),
    (
        Subject::Tie,
        Be(State::Tie(Tie::Broken)),
        "broken|already broken|broke|broke through|bust|snapped|rotted|rotted through|busted|parted|rotten|rusted through",
    ),
    (Subject::Tie, Be(State::Tie(Tie::Missing)), "missing|gone|all gone"),
    (Subject::Lid, Be(State::Lid(Lid::Open)), "open|off|swinging open|hanging open|wide open|ajar"),
    (
        Subject::Lid,
        Be(State::Lid(Lid::Shut)),
        "shut|closed|on tight|tight|tied shut|still shut|still closed|not open",
    ),
    (
        Subject::Trap,
        Be(State::Trap(TrapState::Good)),
        "fine|ok|okay|sound|good|in good shape|intact|all good",
    ),
    (
        Subject::Trap,
        Be(State::Trap(TrapState::Damaged)),
        "damaged|bust|busted|broken|smashed|crushed|broke|stove in|all stove in|bent",
    ),
    (Subject::Trap, Be(State::Trap(TrapState::Fouled)), "fouled|tangled|snagged|hung up|wrapped"),
    (
        Subject::Trap,
        Be(State::Trap(TrapState::Moved)),
        "moved|walked|walked off|walked a good way|walked a long way|dragged a good way|dragged a long way|dragged a fair way|dragged|drifted|drifted off|drifted away|drifted a ways",
    ),
    (Subject::Trap, Be(State::Trap(TrapState::Missing)), "missing|gone|lost"),
    (
        Subject::Slats,
        Be(State::Trap(TrapState::Damaged)),
        "damaged|bust|busted|broken|smashed|crushed|broke|missing|bent|torn|cracked|caved in|stove in|all stove in|ripped|chewed up",
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
pub(super) const ONE_CRAB: &str = "that is|he is|she is|it is|this one is|that one is|that was|he was|she was|it was|\
    this one was|that one was|he is just|she is just|that is just";
pub(super) const NOT_LEGAL: &str =
    "not a keeper|not legal|not a legal one|not a legal|not quite legal|not big enough";
