namespace AnatomyPrep.Records.Statements;

public enum Purpose
{
    Education,
    Planning,
}

public enum Side
{
    Left,
    Right,
    Both,
    Midline,
}

/// <summary>What was asked for.</summary>
/// <param name="Anatomy">In trade terms, such as "skull". Never a name of a person.</param>
/// <param name="Scale">Model size over true size; 1 is life size.</param>
/// <param name="Side">Null where sides do not apply.</param>
/// <param name="RequesterCode">A code the site gave, not a name.</param>
/// <param name="PatientPseudonym">Of the patient the model was asked for (<see cref="Keys.SiteKey"/>), where the source was checked against it: equal to the source's.</param>
/// <param name="IdentifiersExported">True where model.dcm holds the patient's identifiers because somebody asked for it; else null.</param>
public sealed record RunRequest(
    Purpose Purpose,
    string Anatomy,
    double Scale,
    Side? Side = null,
    string? RequesterCode = null,
    DateOnly? NeededBy = null,
    string? PatientPseudonym = null,
    bool? IdentifiersExported = null);
