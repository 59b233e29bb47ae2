//! The English words of the trade: what is counted and what a number may stand beside. Tables only; several words share a row.

use super::Count::{self, *};
use super::lexicon::Form::{self, *};
use super::lexicon::{Hush, Sense, Subject};

/// Words for what is counted.
pub(super) const COUNTS: &[(Count, Form, &str)] = &[
    (Crabs, Many, "crabs|stone crabs|stoners"),
    (Crabs, One, "crab|stone crab|stoner"),
    (Keepers, Many, "keepers|legals|legal ones|legal crabs|keeper crabs|measurers"),
    (Keepers, Verdict, "keeper|legal|legal sized|legal size|legal crab|keeper crab|measurer"),
    (Claws, Many, "claws|stone crab claws|stone claws|crab claws|legal claws|keeper claws|good claws"),
    (Claws, One, "claw|stone crab claw|stone claw|crab claw|legal claw|good claw"),
    (Both, One, "both|doubles|double|both claws"),
    (
        Shorts,
        Many,
        "shorts|undersizes|undersized ones|babies|little guys|short ones|short crabs|undersized crabs",
    ),
    (
        Shorts,
        Verdict,
        "short|too small|too little|not big enough|undersize|undersized|under size|under sized|under|baby|little guy|short crab|undersized crab",
    ),
    (
        Berried,
        Many,
        "egg bearers|egg bearing females|egg bearing crabs|sponge crabs|spongers|berried females|berried crabs|eggers|sponges",
    ),
    (
        Berried,
        Verdict,
        "berried|egg bearing|egg bearer|egg bearing female|egg bearing crab|sponge crab|sponger|sponge|berried female|berried crab|egger|eggy|with eggs|in berry|carrying eggs|full of eggs|female with eggs",
    ),
    (Females, Many, "females|female crabs"),
    (Females, Verdict, "female|female crab"),
    (Males, Many, "males|male crabs"),
    (Males, Verdict, "male|male crab"),
    (
        Soft,
        Many,
        "softs|softies|soft ones|soft crabs|soft shells|softshells|soft shell crabs|softshell crabs",
    ),
    (
        Soft,
        Verdict,
        "soft|softy|softie|soft crab|soft shell|softshell|soft shelled|soft shell crab|softshell crab",
    ),
    (Dead, Many, "deads|dead ones|dead crabs"),
    (Dead, Verdict, "dead|dead crab"),
    (Regrown, Many, "regrown claws|grown back claws|regens|regrowths"),
    (
        Regrown,
        Verdict,
        "regrown|claw regrown|claw grown back|claw growing back|claw is regrown|claw is grown back|regrown claw|grown back claw|grown back|regen|regrowth",
    ),
    (Crushers, Many, "crushers|crusher claws"),
    (Crushers, One, "crusher|crusher claw"),
    (Pincers, Many, "pincers|pincer claws|pinchers"),
    (Pincers, One, "pincer|pincer claw|pincher"),
    (LeftHanded, Many, "lefties|left handers"),
    (LeftHanded, Verdict, "lefty|left handed|left hander"),
    (RightHanded, Many, "righties|right handers"),
    (RightHanded, Verdict, "righty|right handed|right hander"),
    (BadBreaks, Many, "bad breaks|ragged breaks|ragged ones"),
    (BadBreaks, Verdict, "bad break|ragged break|ragged"),
];

/// Claw sizes: plural, verdict. Where a word is also a plain adjective the verdict is left out.
pub(super) const SIZES: &[(&str, &str, &str)] = &[
    ("super colossal", "super colossals|super colossal claws", "super colossal|super colossal claw"),
    ("colossal", "colossals|colossal claws", "colossal|colossal claw"),
    ("jumbo", "jumbos|jumbo claws", "jumbo|jumbo claw"),
    ("large", "larges|large claws", "large|large claw"),
    ("medium", "mediums|medium claws", "medium|medium claw"),
    ("small", "smalls|small claws", "small claw"),
    ("light", "lights|light claws", "light claw"),
];

/// Other animals: singular and plural.
pub(super) const OTHERS: &[(&str, &str)] = &[
    ("blue crab", "blue crabs"),
    ("spider crab", "spider crabs"),
    ("horseshoe crab", "horseshoe crabs"),
    ("hermit crab", "hermit crabs"),
    ("calico crab", "calico crabs"),
    ("rock crab", "rock crabs"),
    ("mud crab", "mud crabs"),
    ("conch", "conchs"),
    ("conch", "conches"),
    ("conch", "conch"),
    ("whelk", "whelks"),
    ("urchin", "urchins"),
    ("sea urchin", "sea urchins"),
    ("starfish", "starfish"),
    ("octopus", "octopuses"),
    ("octopus", "octopi"),
    ("lobster", "lobsters"),
    ("toadfish", "toadfish"),
    ("grouper", "groupers"),
    ("grunt", "grunts"),
    ("eel", "eels"),
    ("snapper", "snappers"),
    ("sea bass", "sea bass"),
    ("shrimp", "shrimp"),
    ("snail", "snails"),
    ("turtle", "turtles"),
];

/// What bait may be.
pub(super) const BAITS: &str = "mullet|pigs feet|fish heads|fish head|mullet heads|mullet head|grouper heads|chicken|\
    cowhide|catfish|pinfish|ladyfish|shad|herring|squid|sardines|mackerel|menhaden|bunker|skate|racks|fish racks|hog feet";

/// Words that show a clause to be about bait.
pub(super) const BAITING: &str = "bait|fresh|new|piece|pieces|piece of bait|pieces of bait|baited|rebaited|rebaited with|baited up|with|going in|gave her fresh|gave it fresh";

/// Short words by meaning.
pub(super) const PLAIN: &[(Sense, &str)] = &[
    (Sense::And, "and|then|and then|also|with|but|and also"),
    (Sense::A, "a|an"),
    (Sense::No, "no|not a|not an|not any|not one|not a single|nary a|nobody|without a|without any"),
    (
        Sense::Nothing,
        "nothing|nothing in it|not a thing in it|not a thing in her|not a thing in here|nothing but bait|nothing in her|nothing in there|nothing in here|nothing at all",
    ),
    (Sense::None, "none"),
    (
        Sense::Not,
        "not|neither one|neither of them|without|never|nor|neither|hardly|barely|except|less|minus|lost|take off|take away|subtract|knock off",
    ),
    (Sense::More, "more|another|add|plus|add another|one more|and another|extra"),
    (Sense::Off, "off|off of|from"),
    (
        Sense::Amend,
        "no wait|wait no|wait|make that|make it|no make it|no make that|sorry|i mean|rather|correction|actually|\
        no sorry|tell a lie|i tell a lie|no tell a lie|no i tell a lie|no , tell a lie|no , i tell a lie|my mistake|my bad|change that to|no no",
    ),
    (
        Sense::Undo,
        "scratch the last one|scratch that|scratch the last|scratch it|strike that|strike the last one|delete that|\
        undo|undo that|cancel that|forget that|forget the last one|ignore that|take that back|delete the last one|scratch last",
    ),
    (
        Sense::TakeBack,
        "no he is not|no she is not|no it is not|no he does not|no she does not|no it does not",
    ),
    (
        Sense::There,
        "there is|there are|that makes|makes|that makes it|that is|that will be|got|we got|have|we have|had|count|call it",
    ),
    (Sense::Opener, "for the book|for the log|for the record|log this|put down"),
    (Sense::Hash, "number"),
    (Sense::Named { set: false, new: false }, "trap|pot|buoy"),
    (Sense::Named { set: true, new: true }, "new trap|new pot|brand new trap"),
    (
        Sense::Named { set: true, new: false },
        "set trap|setting trap|dropping trap|set pot|setting pot|dropping pot",
    ),
    (
        Sense::Subject(Subject::Trap),
        "this trap|the trap|that trap|my trap|in the trap|her trap|the pot|this pot",
    ),
    (Sense::Subject(Subject::Bait), "bait|baits|bait box|bait cup|bait well|bait bag"),
    (
        Sense::Subject(Subject::Tie),
        "tie|ties|zip tie|zip ties|cable tie|cable ties|biodegradable tie|jute|jute tie",
    ),
    (Sense::Subject(Subject::Lid), "lid|door|top"),
    (Sense::Subject(Subject::Slats), "slat|slats|wire|side|panel|throat|funnel"),
    (Sense::Subject(Subject::Bottom), "bottom|ground|edge"),
    (
        Sense::Link,
        "of which|of which are|exactly|looks|grand total|grand total of|a grand total of|of|of them|of those|of these|of em|of the|is|are|was|were|just|only|total|in total|total of|the|whole|even|x",
    ),
    (
        Sense::Adjective,
        "big|little|small|single|lone|lonely|nice|good|great|fat|huge|giant|decent|pretty|beautiful|real|live|lively|fresh|clean|monster|\
        heavy|tiny|living|alive|lovely|solid|proper|old|new",
    ),
    (
        Sense::Pronoun,
        "this guy|that guy|this fella|that fella|this fellow|that fellow|this one|that one|the other one was|these ones|those ones",
    ),
    (
        Sense::Described,
        "big one|small one|little one|good one|nice one|big ones|small ones|little ones|good ones|nice ones|large one|large ones|\
        medium one|jumbo one|old one|new one|fat one|huge one",
    ),
    (
        Sense::Unclear,
        "or|so far|both of them|both of those|both of em|both are|both were|they are both|he has|he is got|he is only got|he only has|he only got|about|around|almost|nearly|roughly|maybe about|more than|less than|at least|over|some|a few|few|several|most|\
        all|he got|he had|he has got|he caught|they got|they had|they have|they caught|half of them|half of|rest|the rest|lots|lots of|a bunch|a bunch of|looks like|look like|like|another few|\
        unless|no more|instead|out of|except|up to|ish|or so|plenty|every one|ones",
    ),
    (
        Sense::Unit,
        "day|days|hour|hours|hr|hrs|minute|minutes|min|mins|second|seconds|sec|secs|week|weeks|month|months|year|years|\
        mm|mil|mils|millimeter|millimeters|millimetre|millimetres|cm|centimeter|centimeters|centimetre|centimetres|inch|\
        inches|foot|feet|ft|fathom|fathoms|meter|meters|metre|metres|m|mile|miles|knot|knots|kn|kt|kts|pound|pounds|lb|lbs|\
        pounder|pounders|ounce|ounces|oz|gram|grams|g|kilo|kilos|kilogram|kilograms|kg|gallon|gallons|gal|quart|quarts|pint|pints|\
        liter|liters|litre|litres|percent|degree|degrees|oclock|am|pm|times|eighth|eighths|sixteenths|quarters|traps|pots|\
        people|boats|boxes|buckets|bushels|of us|volts|minutes later|horsepower|yards|yard|rpm|tenths",
    ),
    (
        Sense::Measured,
        "depth|soak|channel|temp|temperature|water temp|speed|heading|gauge|measures|measured|measuring|string|\
        at|by|course|vhf|wind|depth of|age|since",
    ),
    (
        Sense::Filler,
        "in the end|at the end|on top|on top of that|to boot|besides|at that|all in|amongst|among|for once|for a change|as usual|as ever|\
        would you believe|would you believe it|believe it or not|how about that|to be honest|of course|no less|fair enough|\
        thank god|thank goodness|luckily|sadly|unfortunately|bang on|spot on|precisely|no more no less|by my count|all counted|\
        lad|lads|son|lass|love|darling|my friend|chum|kid|honey|ooh|aha|ha|haha|gosh|gee|jeez|christ|blimey|crikey|goodness|goodness me|\
        good lord|lord|phew|whew|ugh|ow|ouch|there we go|here we go|there you go|here you go|righto|right then|what was it|\
        that will do|that will do it|this will do|sitting|sat|hid|hiding|crammed|jammed|packed|packed in|crammed in|jammed in|\
        on this side|on that side|on one side|on the side|under the bait|under the bait cup|\
        under the bait box|under the lid|whatsoever|in spite of it|in spite of that|the other|other|all gone back over|gone back over|all gone back|gone back|at last|\
        hallelujah|bloody hell|aw|in amongst them|amongst them|among them|in among them|all over|sir|buddy|pal|fella|fellow|way|totally|absolutely|literally|basically|honestly|clearly|simply|finally|sure enough|for sure|pretty much|today again|what a crab|hell of a crab|what a claw|hell of a claw|definitely|both short|both shorts|both too small|both undersized|both under|both females|both males|both soft|both dead|\
        both berried|both keepers|both are keepers|crusher is short|pincer is short|crusher is under|pincer is under|left is short|right is short|left is legal|\
        right is legal|short on the left|short on the right|legal on the left|legal on the right|one claw short|one claw is short|\
        crusher is legal|pincer is legal|one claw legal|one claw is legal|one claw makes it|crusher makes it|pincer makes it|no eggs|no eggs on her|no eggs on this one|not berried|nothing to see|nothing to see here|oh nothing|nothing really|\
        nothing to it|nothing on him|nothing on her|outside|everywhere|what a day|what a morning|put|put in|putting|used|using|in here|in there|in this one|in that one|in it|in her|in him|here|there|it|he|she|they are|we|i|this|that|these|\
        those|its|him|her|them|us|ok|okay|alright|all right|right|well|so|now|yes|yep|yeah|yup|oh|ah|hey|wow|man|boy|boys|\
        cap|captain|skipper|mate|guys|folks|up|down|back|back in|on|in|inside|to|has|gave|give|came|come|came up|came up with|\
        comes|came in|up comes|see|counted|counting|pulling|hauling|lifting|looking at|looking|at all|as well|too|still|already|please|write|write down|\
        note|say|says|final|altogether|all told|all up|in all|all together|per usual|leave him|leave her|leave it|leave them|\
        let him go|let her go|let it go|back he goes|back she goes|back it goes|back they go|throw him back|throw her back|\
        going back|goes back|back over|over she goes|over he goes|over the side|my|our|round|around something|round something|\
        something|somewhere|found|hanging|going in|going|in the corner|this time|better than last week|better than last time|\
        than last time|than last week|good haul|loaded|not much|not bad|not too bad|absolute whopper|whopper|both legal|\
        both are legal|both claws legal|both claws are legal|both claws make it|both claws good|nothing but|nothing else|nothing special|nothing wrong|nothing new|nothing much|done|that is it|that is all|\
        thank you|thanks|look at that|look at this|look at him|look at her|what a beauty|beauty|not bad at all|my word|damn|heck|\
        first of all|first up|first|really|very|took|taken|take|kept|keeping|landed|pulled|caught|boated|hauled|again|i said|sizes|tally|got a|i got|i have|i see|we see|us with|\
        left the pincer|left the crusher|left the small one|left the big one|left the other|left one|left the other one|\
        cutting the tie|cut the tie|half a|the lot|let us see|bad|mostly",
    ),
    (
        Sense::Hush(Hush::Clause),
        "bring me|bring|hand me|pass me|get me|fetch|fetch me|grab a|grab me|find me|give me|he has one claw|\
        she has one claw|he has got one claw|he is got one claw|he is only got one claw|she is only got one claw|\
        he only has one claw|with one claw|with only one claw|has one claw|has only one claw|only has one claw|\
        has only got one claw|is only got one claw|is got one claw|has no claws|has got no claws|\
        is got no claws|no claws on him|no claws on her|no claws left on him|no claws left on her|one claw left on him|one claw on him|one claw on her|\
        one claw each|a claw each|one off each|one claw off each|one each|a claw off each|cut up|cut me|cut some|sharpen|\
        short of|short of it|short on|short a|we are short|short line|short rope|missing one|already missing one|missing a claw|missing one claw|missing claw|missing both|missing both claws|\
        missing a crusher|missing the crusher|missing a pincer|missing his crusher|missing her crusher",
    ),
    (
        Sense::Hush(Hush::Ask),
        "is he|is she|is it|is that|is that one|is this|is this one|are they|are those|are these|are you|are we|did we|did you|did he|\
        did she|do we|do you|does he|does she|does it|how many|how much|which one|what is|what was|have we got|have you got|\
        any crabs|any keepers|any legals|anybody|where is|who is|why is",
    ),
    (
        Sense::Hush(Hush::Before),
        "one before|that one before|the one before|trap before|the trap before|that trap before|last trap|the last trap|\
        last one had|last one was|last one gave|last one came up|the last one had|the last one was|the last one gave|\
        last pull|the last pull|last haul|the previous trap|previous trap|previous pull|previous one|the previous one|the one behind",
    ),
    (
        Sense::Hush(Hush::Next),
        "after this|after that|after these|next|next one|next trap|the next one|on to|onto the next|heading to|moving on|our first|our second|our third|\
        our fourth|our fifth|our sixth|our seventh|our eighth|our ninth|our tenth|coming up|off to",
    ),
    (
        Sense::Hush(Hush::All),
        // Guesses and wishes.
        "no way|love to|love to see|bet|guess|guessing|i think|think|reckon|maybe|might|probably|perhaps|possibly|hope|hoping|hopefully|could|would|should|\
        may|suppose|wonder|wondering|if|whether|will|going to|wish|want|wanted|need|needed|needs|expect|expecting|shall|can|\
        imagine|i would say|supposed|try|must|trying|feels like|not sure|who knows|ought|believe|\
        \
        allowed|limit|limits|per|each|apiece|a piece|a pound|the pound|a dozen for|a day|a week|a month|a year|a trip|\
        every|always|usually|normally|often|price|prices|pays|paying|paid|pay|cost|costs|worth|sell|selling|sold|buy|buyer|buying|\
        market|money|cook|cooking|cooked|boil|boiled|boiling|steam|rule|rules|law|minimum|maximum|at most|remember|used to|\
        makes a meal|good day|good week|good trip|good season|dinner|supper|recipe|eat|eating|ate|ordered|licence|license|legal limit|average|bag limit|fine is|ticket|\
        \
        dollar|dollars|buck|bucks|cent|cents|quid|euro|euros|grand|\
        \
        yesterday|tomorrow|tonight|last week|last night|last year|last month|last time|last trip|last season|last day|last one|\
        last set|last|before|earlier|other one|other trap|other boat|\
        other day|other side|he says|she says|they say|another trap|another boat|another day|first one|first trap|second one|second trap|third one|\
        previous|previously|ago|back when|this morning|today|all day|his boat|her boat|their boat|their|his trap|monday|tuesday|\
        wednesday|thursday|friday|saturday|sunday|on the table|on the dock|at the dock|in the cooler|aboard|on board|so far today|\
        same again|same as before|the one ahead|neighbour|neighbours|neighbor|neighbors|someone else|\
        the old days|once|story|says he|says she|he said|she said|they said|told|gave him|gave her|gave them|gave you|gave me|day total|total for the day|for the day|on the day|after trap|before trap|\
        heard|radio|show|movie|joke|kidding|just kidding",
    ),
];
