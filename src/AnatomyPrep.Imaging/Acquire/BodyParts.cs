namespace AnatomyPrep.Imaging.Acquire;

/// <summary>The values of Body Part Examined that are believed; any other word in that attribute is treated as none.</summary>
/// <remarks>DICOM PS3.16 annex L ("Correspondence of anatomic region codes and body part examined defined terms"), from memory: those a CT of a person is likely to carry.</remarks>
public static class BodyParts
{
    public static IReadOnlySet<string> Terms { get; } = new HashSet<string>(StringComparer.Ordinal)
    {
        "ABDOMEN", "ABDOMENPELVIS", "ACJOINT", "ANKLE", "AORTA", "ARM", "BRAIN", "CALCANEUS", "CAROTID", "CHEST", "CHESTABDOMEN", "CHESTABDPELVIS", "CLAVICLE", "COCCYX",
        "CSPINE", "CTSPINE", "EAR", "ELBOW", "EXTREMITY", "EYE", "FACE", "FEMUR", "FINGER", "FOOT", "FOREARM", "HAND", "HEAD", "HEADNECK", "HEART", "HIP", "HUMERUS", "IAC", "JAW", "KIDNEY",
        "KNEE", "LARYNX", "LEG", "LIVER", "LOWEREXTREMITY", "LSPINE", "LSSPINE", "LUNG", "MANDIBLE", "MASTOID", "MAXILLA", "NECK", "NECKCHEST", "NOSE", "ORBIT", "PATELLA", "PELVIS", "RADIUS", "RIB",
        "SACRUM", "SCAPULA", "SHOULDER", "SINUS", "SKULL", "SPINE", "SSPINE", "STERNUM", "THIGH", "THUMB", "TIBIA", "TLSPINE", "TMJ", "TOE", "TRACHEA", "TSPINE", "ULNA", "UPPEREXTREMITY",
        "UPPERARM", "LOWERLEG", "LOWERARM", "WHOLEBODY", "WRIST", "ZYGOMA",
    };
}
