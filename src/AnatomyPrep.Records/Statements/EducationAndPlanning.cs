namespace AnatomyPrep.Records.Statements;

/// <summary>The sentence that goes into every record and onto every page of every report.</summary>
public static class EducationAndPlanning
{
    public const string Warning = "For education and planning only - not for diagnosis or treatment";
}
