//! Spanish: every table of the language. Written without accents, as texts are read.

use super::Count::{self, *};
use super::day::DayWords;
use super::heard::Homophones;
use super::language::Say::{self, Add, Be, Is};
use super::language::{Language, bottom};
use super::lexicon::Form::{self, *};
use super::lexicon::{Hush, Sense, State, Subject};
use super::numbers::Numerals;
use super::{Kind, Lid, Tie, TrapState};

pub(super) static SPANISH: Language = Language {
    code: "es",
    numerals: NUMERALS,
    half: "medio",
    quarter: "cuarto",
    three_quarters: ("tres", "cuartos"),
    inches: "pulgadas",
    number: "numero",
    abbreviated_number: &["no", "num", "nro"],
    traps: &["trampa", "nasa", "boya"],
    signs: &[
        ("&", "y"),
        ("+", "mas"),
        ("#", "numero"),
        ("~≈", "unos"),
        ("$£€", "dolares"),
        ("%", "por ciento"),
        ("½", "medio"),
        ("¼", "cuarto"),
    ],
    contractions: &[("del", &["de", "el"]), ("al", &["a", "el"])],
    endings: &[],
    one: "uno",
    of: "de",
    of_the: &["de los", "de las"],
    rest: &["otros", "otras"],
    of_them: &["de ellos", "de ellas", "de estos", "de esos", "de esas"],
    no: "no",
    not_a: "ni un",
    under: "menos de",
    out_of: "de un total de",
    ratio: &["de cada", "en"],
    here: &["este", "esta trampa", "aqui"],
    giving: &["dieron", "dan"],
    taking: &["saque", "saco", "sacamos"],
    another: &["otro", "otra"],
    asking: &[],
    not: "no",
    bare: &["hay", "tenemos", "salieron"],
    more_after: &["mas"],
    homophones: Homophones {
        numbers: &[],
        purpose: &[],
        words: &[("pinsas", "pinzas")],
        light: &[],
        anywhere: &[],
    },
    counts: COUNTS,
    sizes: &[
        ("colossal", "colosales", "colosal"),
        ("jumbo", "jumbos", "jumbo"),
        ("large", "muelas grandes|pinzas grandes", "muela grande|pinza grande"),
        ("medium", "medianas|muelas medianas|pinzas medianas", "mediana|muela mediana|pinza mediana"),
        ("small", "muelas chicas|pinzas chicas|muelas pequenas|pinzas pequenas", "muela chica|pinza chica"),
    ],
    young: "cría de",
    others: &[
        ("jaiba", "jaibas"),
        ("jaiba azul", "jaibas azules"),
        ("cangrejo azul", "cangrejos azules"),
        ("caracol", "caracoles"),
        ("erizo", "erizos"),
        ("pulpo", "pulpos"),
        ("langosta", "langostas"),
        ("estrella de mar", "estrellas de mar"),
        ("mero", "meros"),
        ("pargo", "pargos"),
        ("sapo", "sapos"),
        ("anguila", "anguilas"),
    ],
    pieces: ("pedazos|pedazos de carnada|trozos|trozos de carnada", "pedazo|pedazo de carnada|trozo"),
    baits: "lisa|cabezas de pescado|cabeza de pescado|patas de cerdo|patas de puerco|pollo|bonito|sardinas|bagre|cuero",
    baiting: "carnada|cebo|fresca|fresco|nueva|nuevo|pedazo|pedazos|con|encarnada|recebada|recebada con",
    plain: PLAIN,
    says: SAYS,
    pairs: PAIRS,
    one_crab: "es|este es|ese es|esta es|no|este|ese|era",
    not_legal: "no es legal|no llega a la medida|no da la medida",
    day: DAY,
};

const NUMERALS: Numerals = Numerals {
    units: &[
        "cero",
        "uno",
        "dos",
        "tres",
        "cuatro",
        "cinco",
        "seis",
        "siete",
        "ocho",
        "nueve",
        "diez",
        "once",
        "doce",
        "trece",
        "catorce",
        "quince",
        "dieciseis",
        "diecisiete",
        "dieciocho",
        "diecinueve",
        "veinte",
        "veintiuno",
        "veintidos",
        "veintitres",
        "veinticuatro",
        "veinticinco",
        "veintiseis",
        "veintisiete",
        "veintiocho",
        "veintinueve",
    ],
    more: &[("un", 1), ("una", 1), ("veintiun", 21), ("veintiuna", 21)],
    tens: &[
        ("treinta", 30),
        ("cuarenta", 40),
        ("cincuenta", 50),
        ("sesenta", 60),
        ("setenta", 70),
        ("ochenta", 80),
        ("noventa", 90),
    ],
    tens_joint: Some("y"),
    hundreds: &[
        ("cien", 100),
        ("ciento", 100),
        ("doscientos", 200),
        ("doscientas", 200),
        ("trescientos", 300),
        ("trescientas", 300),
        ("cuatrocientos", 400),
        ("cuatrocientas", 400),
        ("quinientos", 500),
        ("quinientas", 500),
        ("seiscientos", 600),
        ("seiscientas", 600),
        ("setecientos", 700),
        ("setecientas", 700),
        ("ochocientos", 800),
        ("ochocientas", 800),
        ("novecientos", 900),
        ("novecientas", 900),
    ],
    hundred: None,
    joint: None,
    dozen: &["docenas", "docena"],
    set: &[
        (&["media", "docena", "de"], 6),
        (&["una", "docena", "de"], 12),
        (&["un", "par", "de"], 2),
        (&["media", "docena"], 6),
        (&["una", "docena"], 12),
        (&["un", "par"], 2),
    ],
    spoils: &[&["mil"], &["punto"], &["coma"], &["y", "medio"], &["y", "media"], &["y", "cuarto"]],
};

const COUNTS: &[(Count, Form, &str)] = &[
    (Crabs, Many, "cangrejos|cangrejos moros|cangrejos de piedra"),
    (Crabs, One, "cangrejo|cangrejo moro|cangrejo de piedra"),
    (Keepers, Many, "legales|cangrejos legales|de medida"),
    (Keepers, Verdict, "legal|cangrejo legal"),
    (Claws, Many, "muelas|pinzas|tenazas|palancas|muelas legales|pinzas legales"),
    (Claws, One, "muela|pinza|tenaza|palanca"),
    (Both, One, "ambas|dobles"),
    (Shorts, Many, "cortos|cortitos|bajo medida|cangrejos cortos"),
    (Shorts, Verdict, "corto|cortito|cangrejo corto"),
    (Berried, Many, "hueveras|ovadas|ovigeras|hembras ovadas|hembras con huevos"),
    (Berried, Verdict, "huevera|ovada|ovigera|hembra ovada|hembra con huevos"),
    (Females, Many, "hembras"),
    (Females, Verdict, "hembra"),
    (Males, Many, "machos"),
    (Males, Verdict, "macho"),
    (Soft, Many, "blandos|cangrejos blandos"),
    (Soft, Verdict, "blando|cangrejo blando"),
    (Dead, Many, "muertos|cangrejos muertos"),
    (Dead, Verdict, "muerto|cangrejo muerto"),
    (Regrown, Many, "regeneradas|muelas regeneradas|pinzas regeneradas"),
    (Regrown, Verdict, "regenerada|muela regenerada|pinza regenerada"),
    (Crushers, Many, "trituradoras"),
    (Crushers, One, "trituradora"),
    (Pincers, Many, "cortadoras"),
    (Pincers, One, "cortadora"),
    (LeftHanded, Many, "zurdos"),
    (LeftHanded, Verdict, "zurdo"),
    (RightHanded, Many, "diestros"),
    (RightHanded, Verdict, "diestro"),
    (BadBreaks, Many, "mal quebradas|malas quebradas"),
    (BadBreaks, Verdict, "mal quebrada"),
];

const PLAIN: &[(Sense, &str)] = &[
    (Sense::And, "y|e|tambien|con|pero|luego"),
    (Sense::A, "un|una"),
    (Sense::No, "no|ningun|ninguna|ni un|ni una|ni un solo|ni una sola|sin|no hay|sin ningun"),
    (Sense::Nothing, "nada|nada aqui|nada adentro"),
    (Sense::None, "ninguno"),
    (Sense::Not, "nunca|tampoco|menos|excepto|perdi|perdimos"),
    (Sense::More, "mas|otro|otra|otros|otras|agrega|suma"),
    (Sense::Amend, "no espera|espera|mejor dicho|digo|perdon|corrijo|que sean|pon"),
    (Sense::Undo, "borra eso|borra el ultimo|borra lo ultimo|olvida eso|olvidalo|cancela eso|quita eso"),
    (Sense::There, "hay|tenemos|tengo|van|quedan|salieron|salio"),
    (Sense::Opener, "para el libro|anota|apunta"),
    (Sense::Hash, "numero"),
    (Sense::Named { set: false, new: false }, "trampa|nasa|boya"),
    (Sense::Named { set: true, new: true }, "trampa nueva|nueva trampa|nasa nueva|nueva nasa"),
    (Sense::Subject(Subject::Trap), "esta trampa|la trampa|esta nasa|la nasa"),
    (Sense::Subject(Subject::Bait), "carnada|la carnada|cebo|el cebo"),
    (Sense::Subject(Subject::Tie), "amarre|el amarre|brida|la brida"),
    (Sense::Subject(Subject::Lid), "tapa|la tapa|puerta|la puerta"),
    (Sense::Subject(Subject::Slats), "tablilla|tablillas|las tablillas"),
    (Sense::Subject(Subject::Bottom), "fondo|el fondo"),
    (
        Sense::Link,
        "son|de|de los|de las|de ellos|de ellas|de estos|de esos|de esas|es|esta|estan|estaba|era|solo|solamente|en total|total|el|la|los|las|ya",
    ),
    (
        Sense::Adjective,
        "grande|grandes|buen|bueno|buenos|buena|buenas|bonito|bonitos|lindo|lindos|gordo|gordos|vivos|vivo|chico|chicos|chica|chicas",
    ),
    (Sense::Pronoun, "este|ese|esa|estos|esos"),
    (
        Sense::Unclear,
        "o|de cada|como|casi|unos|unas|alrededor de|mas de|menos de|por lo menos|algunos|algunas|pocos|varios|todos|todas|la mayoria|mitad|parece|parecen|se ve",
    ),
    (
        Sense::Unit,
        "dia|dias|hora|horas|minuto|minutos|segundo|segundos|semana|semanas|mes|meses|ano|anos|mm|milimetro|milimetros|cm|\
        centimetro|centimetros|pulgada|pulgadas|pie|pies|metro|metros|milla|millas|nudo|nudos|libra|libras|onza|onzas|gramo|\
        gramos|g|kilo|kilos|kg|galon|galones|litro|litros|por ciento|grados|personas|trampas|nasas|veces|brazas",
    ),
    (Sense::Measured, "profundidad|velocidad|rumbo|temperatura|medida de"),
    (
        Sense::Filler,
        "aqui|ahi|alla|bueno pues|pues|ok|okay|listo|si|oye|mira|mire|capitan|hombre|compadre|vaya|esto|eso|lo|le|se|me|nos|te|\
        por todas partes|por todos lados|somos|a|en|por|para|que|va|vamos|ahora|despues|primero|adentro|afuera|gracias|sale|viene|trae|tiene|fue|muy|al agua|\
        de vuelta|de regreso|tambien va|nada mas|ah|oh|ay|que bueno|que bonito|queda|dejalo|dejala|para atras|puesto|puesta|poniendo|pongo",
    ),
    (Sense::Hush(Hush::Next), "la proxima|la siguiente|proxima|siguiente|nuestra segunda|nuestra tercera"),
    (Sense::Hush(Hush::Ask), "cuantos|cuantas|cuanto|sera legal|es legal o no|hay alguno|hay alguna"),
    (Sense::Hush(Hush::Before), "la anterior|la de antes|la trampa anterior|la ultima trampa"),
    (
        Sense::Hush(Hush::All),
        "creo|quiza|quizas|tal vez|a lo mejor|apuesto|ojala|espero|seguro que|podria|puede|debe|deberia|si hay|si es|si son|\
        permiten|permitido|permitidos|limite|maximo|minimo|cada|siempre|normalmente|precio|vale|vender|vendio|pagan|dinero|\
        dolar|dolares|pesos|centavos|mercado|cocinar|hervir|comer|cena|ayer|manana|anoche|la semana pasada|el mes pasado|\
        el ano pasado|la vez pasada|la ultima vez|ultima|ultimo|otra trampa|otro barco|su barco|el otro dia|hoy|hace|\
        en la mesa|en el muelle|a bordo|vecino|vecinos|lo mismo|igual que antes|dijo|dice|dicen|radio|licencia|multa",
    ),
];

const SAYS: &[(&[Say], &str)] = &[
    (&[Is(Crabs, 0)], "vacia|vacio|esta vacia|nada de nada|no habia nada|salio vacia|vino vacia"),
    (&[Add(Keepers, 1)], "da la medida|llega a la medida|si da la medida"),
    (
        &[Add(Shorts, 1)],
        "no es legal|no da la medida|no llega|no llega a la medida|le falta poco|muy chico|muy chiquito|demasiado chico|por un pelo",
    ),
    (&[Add(Keepers, 1), Add(Both, 1), Add(Claws, 2)], "le quite las dos|le saque las dos|las dos legales"),
    (&[Add(Keepers, 1), Add(Claws, 1)], "le quite una|le saque una|una nada mas a este"),
    (&[Add(Claws, 1)], "la solto solo|la solto el solo|la boto solo"),
    (&[Add(Berried, 1)], "tiene huevos|trae huevos|con huevos|viene con huevos"),
    (&[Be(State::BaitLeft(0.0))], "sin carnada|no queda carnada|se comieron la carnada|limpia de carnada"),
    (&[Be(State::BaitLeft(0.5))], "media carnada|mitad de la carnada"),
    (
        &[Be(State::BaitAdded(true))],
        "carnada nueva|carnada fresca|cebo nuevo|cebo fresco|la cebe otra vez|encarnada",
    ),
    (&[Be(State::BaitAdded(false))], "dejo la carnada|la misma carnada|carnada vieja"),
    (&[Be(State::Tie(Tie::Missing))], "sin amarre|no tiene amarre"),
    (&[Be(State::TieNew(true))], "amarre nuevo|nuevo amarre|brida nueva"),
    (
        &[Be(State::Tampered(true))],
        "alguien la toco|alguien la abrio|nos robaron|la robaron|alguien estuvo aqui",
    ),
    (
        &[Be(State::Trap(TrapState::Moved))],
        "no estaba donde la deje|no estaba donde la dejamos|la movieron|se movio",
    ),
    (&[Be(State::Trap(TrapState::Fouled))], "enredada|esta enredada|linea enredada"),
    (
        &[Be(State::Trap(TrapState::Missing)), Be(State::Kind(Kind::Visit))],
        "no encuentro la boya|no encontramos la boya|no esta la boya|no aparece la boya|no aparece",
    ),
    (&[Be(State::TakenIn(true))], "me la llevo|nos la llevamos|la llevo a casa|esta se va a casa"),
    (&[Be(State::Kind(Kind::Visit))], "dejala ahi|la dejo ahi|la dejamos ahi|que siga ahi"),
    (
        &[Be(State::Kind(Kind::Set))],
        "la dejo caer aqui|va para abajo|otra vez al agua|la echo aqui|la pongo aqui",
    ),
    (&[Be(State::Mark)], "marca esta|marca esto|guarda esa concha|marcala"),
    (&[bottom("grass")], "en la hierba|en el pasto"),
    (&[bottom("sand")], "en la arena"),
    (&[bottom("rock")], "en la piedra|en las piedras|en la roca"),
    (&[bottom("mud")], "en el fango|en el lodo"),
];

const PAIRS: &[(Subject, Say, &str)] = &[
    (Subject::Bait, Be(State::BaitLeft(0.0)), "acabada|terminada|desaparecida"),
    (Subject::Bait, Be(State::BaitLeft(0.75)), "buena|todavia buena"),
    (Subject::Bait, Be(State::BaitLeft(0.9)), "casi entera|apenas tocada"),
    (Subject::Bait, Be(State::BaitLeft(1.0)), "entera|completa|intacta"),
    (Subject::Tie, Be(State::Tie(Tie::Intact)), "intacto|entero|bien|intacta"),
    (Subject::Tie, Be(State::Tie(Tie::Broken)), "roto|rota|partido|partida|ya roto"),
    (Subject::Lid, Be(State::Lid(Lid::Open)), "abierta|medio abierta"),
    (Subject::Lid, Be(State::Lid(Lid::Shut)), "cerrada"),
    (Subject::Trap, Be(State::Trap(TrapState::Damaged)), "rota|danada|aplastada"),
    (Subject::Trap, Be(State::Trap(TrapState::Fouled)), "enredada"),
    (Subject::Trap, Be(State::Trap(TrapState::Missing)), "perdida|desaparecida"),
    (Subject::Slats, Be(State::Trap(TrapState::Damaged)), "rota|rotas|partidas"),
    (Subject::Bottom, bottom("hard"), "duro"),
    (Subject::Bottom, bottom("soft"), "blando|suave"),
    (Subject::Bottom, bottom("sand"), "de arena|arena|arenoso"),
    (Subject::Bottom, bottom("mud"), "de fango|fango|fangoso|lodo"),
    (Subject::Bottom, bottom("rock"), "de piedra|piedra|rocoso"),
];

const DAY: DayWords = DayWords {
    before: &[("medio", 0.5), ("media", 0.5), ("un cuarto de", 0.25), ("tres cuartos de", 0.75)],
    a: "una",
    after: &[("y medio", 0.5), ("y media", 0.5), ("y cuarto", 0.25)],
    point: "punto",
    pounds: "libra|libras",
    ounces: "onza|onzas",
    grams: "gramo|gramos|g",
    kilos: "kilo|kilos|kg",
    litres: "litro|litros",
    gallons: "galon|galones",
    quarts: "",
    pints: "",
    lot: "todo|en total|todas|total",
    about: "como|casi|unos|unas|mas o menos|alrededor de",
    weigh: "pesa|pesan|peso|este|esta",
    claws: "muelas|pinzas|tenazas|de muelas|de pinzas",
    us: "a bordo|personas a bordo|somos|de nosotros a bordo",
    alone: "voy solo|ando solo|estoy solo",
    landed: "en la mesa|en el muelle|desembarcadas",
    give_away: "",
    give: "di|regale|regalamos|dimos|le di",
    away: "regaladas|regalados",
    sell: "vendi|vendimos",
    sold: "vendidas|vendidos",
    to: "a",
    people: "vecinos|vecino|vecina|vecinas|familia|hermano|hermana|suegra|amigo|amigos|muchachos",
    whose: "los|las|el|la|mi|mis|mi|un|una|nuestros",
    weather: "viento|vientos|brisa|brisas|frente frio|oleaje|olas|marejada|calma|mar en calma|lluvia|llueve|lloviendo|llovizna|niebla|\
        neblina|nublado|soleado|tormenta|turbonada|marea|corriente|visibilidad",
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_written_as_texts_are_read() {
        let all = PLAIN.iter().map(|row| row.1).chain(SAYS.iter().map(|row| row.1));
        let all = all.chain(PAIRS.iter().map(|row| row.2)).chain(COUNTS.iter().map(|row| row.2));
        for row in all {
            assert!(row.is_ascii() && row == row.to_lowercase(), "{row}");
        }
    }
}
