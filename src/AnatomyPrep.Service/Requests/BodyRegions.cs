namespace AnatomyPrep.Service.Requests;

/// <summary>Which parts of the body lie together: whether a Body Part Examined can show an anatomy that was asked for.</summary>
/// <remarks>
/// A coarse table by intention: images of "CHEST" may well show a shoulder, so neighbours count as possible, and only what lies wholly
/// elsewhere is a contradiction. Terms: DICOM PS3.16 annex L, from memory; words for anatomy: common ones in English.
/// </remarks>
internal static class BodyRegions
{
    [Flags]
    private enum Regions
    {
        None = 0,
        Head = 1,
        Neck = 2,
        Chest = 4,
        Abdomen = 8,
        Pelvis = 16,
        Shoulder = 32,
        UpperArm = 64,
        LowerArm = 128,
        Thigh = 256,
        LowerLeg = 512,
        Everywhere = 1023,
    }

    private static readonly (Regions Where, string Terms, string Words)[] s_table =
    [
        (Regions.Head, "BRAIN EAR EYE FACE HEAD IAC JAW MANDIBLE MASTOID MAXILLA NOSE ORBIT SINUS SKULL TMJ ZYGOMA",
            "head skull cranium calvaria face jaw mandible maxilla nose orbit sinus sinuses brain ear eye zygoma teeth tooth temporal"),
        (Regions.Head | Regions.Neck, "HEADNECK", "bust airway airways"),
        (Regions.Neck, "CAROTID CSPINE LARYNX NECK", "neck larynx throat cervical carotid"),
        (Regions.Neck | Regions.Chest, "CTSPINE NECKCHEST TRACHEA", "trachea"),
        (Regions.Chest, "CHEST HEART LUNG RIB STERNUM TSPINE", "chest thorax heart lung lungs rib ribs sternum thoracic"),
        (Regions.Chest | Regions.Abdomen, "AORTA CHESTABDOMEN TLSPINE", "aorta"),
        (Regions.Abdomen, "ABDOMEN KIDNEY LIVER LSPINE", "abdomen liver kidney kidneys spleen pancreas lumbar"),
        (Regions.Abdomen | Regions.Pelvis, "ABDOMENPELVIS LSSPINE SSPINE", ""),
        (Regions.Chest | Regions.Abdomen | Regions.Pelvis, "CHESTABDPELVIS", "torso trunk"),
        (Regions.Pelvis, "COCCYX HIP PELVIS SACRUM", "pelvis hip sacrum coccyx acetabulum ilium"),
        (Regions.Neck | Regions.Chest | Regions.Abdomen | Regions.Pelvis, "SPINE", "spine vertebra vertebrae"),
        (Regions.Shoulder, "ACJOINT CLAVICLE SCAPULA SHOULDER", "shoulder clavicle scapula"),
        (Regions.UpperArm, "ARM HUMERUS UPPERARM", "humerus"),
        (Regions.LowerArm, "FINGER FOREARM HAND LOWERARM RADIUS THUMB ULNA WRIST", "forearm hand wrist finger fingers thumb radius ulna"),
        (Regions.UpperArm | Regions.LowerArm, "ELBOW UPPEREXTREMITY", "arm elbow"),
        (Regions.Thigh, "FEMUR THIGH", "femur thigh"),
        (Regions.LowerLeg, "ANKLE CALCANEUS FOOT LOWERLEG TIBIA TOE", "ankle foot tibia fibula calcaneus toe toes heel"),
        (Regions.Thigh | Regions.LowerLeg, "KNEE LEG LOWEREXTREMITY PATELLA", "knee leg patella"),
        (Regions.UpperArm | Regions.LowerArm | Regions.Thigh | Regions.LowerLeg, "EXTREMITY", ""),
        (Regions.Everywhere, "WHOLEBODY", "body"),
    ];

    // What is beside each: a series named after one part often reaches into the next.
    private static readonly (Regions Of, Regions Beside)[] s_beside =
    [
        (Regions.Head, Regions.Neck), (Regions.Neck, Regions.Chest | Regions.Shoulder), (Regions.Chest, Regions.Abdomen | Regions.Shoulder), (Regions.Abdomen, Regions.Pelvis),
        (Regions.Pelvis, Regions.Thigh), (Regions.Shoulder, Regions.UpperArm), (Regions.UpperArm, Regions.LowerArm), (Regions.Thigh, Regions.LowerLeg),
    ];

    private static readonly Dictionary<string, Regions> s_byTerm = By(row => row.Terms);
    private static readonly Dictionary<string, Regions> s_byWord = By(row => row.Words);

    /// <summary>Null where either is not known; false where they lie apart.</summary>
    public static bool? CanShow(string? bodyPart, string anatomy)
    {
        var wanted = Regions.None;
        foreach (var word in anatomy.ToLowerInvariant().Split([' ', '-'], StringSplitOptions.RemoveEmptyEntries))
            wanted |= s_byWord.GetValueOrDefault(word);
        var shown = bodyPart is null ? Regions.None : s_byTerm.GetValueOrDefault(bodyPart);
        return wanted == Regions.None || shown == Regions.None ? null : (WithBeside(shown) & wanted) != 0;
    }

    private static Regions WithBeside(Regions shown)
    {
        var all = shown;
        foreach (var (of, beside) in s_beside)
        {
            if ((shown & of) != 0)
                all |= beside;
            if ((shown & beside) != 0)
                all |= of;
        }

        return all;
    }

    private static Dictionary<string, Regions> By(Func<(Regions Where, string Terms, string Words), string> words)
    {
        var by = new Dictionary<string, Regions>(StringComparer.Ordinal);
        foreach (var row in s_table)
            foreach (var word in words(row).Split(' ', StringSplitOptions.RemoveEmptyEntries))
                by.Add(word, row.Where);
        return by;
    }
}
