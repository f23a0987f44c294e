"""What the reports cite: short forms of entries of docs/bibliography.md."""

from __future__ import annotations

#: Key to a short form that a reader can find the work by.
SOURCES: dict[str, str] = {
    "altizer2000": "Altizer, Oberhauser, Brower (2000), Ecological Entomology 25:125-139: the "
    "load classes (their limits from memory).",
    "deroode2009": "de Roode et al. (2009), Oecologia: spores passed on by contact of adults.",
    "garwood1936": "Garwood (1936), Biometrika 28:437-442: exact limits of a count.",
    "sander2013": "Sander, Altizer, de Roode, Davis (2013), Insects 4:447-462: size of spores.",
    "shaw1995": "Shaw, Dobson (1995), Parasitology 111:S111-S133: how parasites clump.",
    "shaw1998": "Shaw, Grenfell, Dobson (1998), Parasitology 117:597-610: how parasites clump.",
    "rogangladen1978": "Rogan, Gladen (1978), American Journal of Epidemiology 107:71-76: shares "
    "corrected for misreading.",
    "holm1979": "Holm (1979), Scandinavian Journal of Statistics 6:65-70: several comparisons "
    "(from memory).",
    "abbott1925": "Abbott (1925), Journal of Economic Entomology 18:265-267: what happens without "
    "treatment taken off.",
    "schuirmann1987": "Schuirmann (1987), Journal of Pharmacokinetics and Biopharmaceutics "
    "15:657-680: two one-sided tests of equivalence (from memory).",
    "hendersontilton1955": "Henderson, Tilton (1955), Journal of Economic Entomology 48:157-161: "
    "counts before and after.",
    "mantel1963": "Mantel (1963), Journal of the American Statistical Association 58:690-700: "
    "comparing within batches.",
    "sato1989": "Sato (1989), Biometrics 45:1323-1324: limits of a difference within batches "
    "(from memory).",
    "hanley1983": "Hanley, Lippman-Hand (1983), JAMA 249:1743-1745: what none of so many allows.",
    "morita2002": "Morita et al. (2002), Applied and Environmental Microbiology 68:5387-5393: "
    "ultraviolet light and a parasite's oocysts (abstract).",
    "newcombe1998a": "Newcombe (1998), Statistics in Medicine 17:857-872: limits of one share.",
    "newcombe1998b": "Newcombe (1998), Statistics in Medicine 17:873-890: limits of a difference.",
    "raoscott1992": "Rao, Scott (1992), Biometrics 48:577-585: shares of animals in groups.",
    "donner1989": "Donner (1989), Biometrics 45:605-611: shares of animals in groups.",
    "korngraubard1998": "Korn, Graubard (1998), Survey Methodology 24:193-201: shares of "
    "animals in groups (from memory).",
    "manclderouen2001": "Mancl, DeRouen (2001), Biometrics 57:126-134: trends with few groups "
    "(from memory).",
}

#: What a sample's report rests on, and a season's.
SAMPLE_KEYS = ("altizer2000", "deroode2009", "garwood1936", "sander2013", "shaw1995", "shaw1998")
SEASON_KEYS = (
    "altizer2000",
    "deroode2009",
    "donner1989",
    "korngraubard1998",
    "manclderouen2001",
    "newcombe1998a",
    "newcombe1998b",
    "raoscott1992",
)


def cited(keys: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return keys with their short forms.

    Examples
    --------
    >>> cited(("garwood1936",))
    [('garwood1936', 'Garwood (1936), Biometrika 28:437-442: exact limits of a count.')]
    """
    return [(key, SOURCES[key]) for key in keys]
