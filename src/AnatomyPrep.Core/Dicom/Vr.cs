namespace AnatomyPrep.Core.Dicom;

/// <summary>Value representations this writer knows, named as in DICOM PS3.5, table 6.2-1.</summary>
public enum Vr
{
    AS,
    CS,
    DA,
    DS,
    DT,
    FD,
    IS,
    LO,
    LT,
    OB,
    OW,
    PN,
    SH,
    SQ,
    SS,
    ST,
    TM,
    UI,
    UL,
    US,
    UT,
}
