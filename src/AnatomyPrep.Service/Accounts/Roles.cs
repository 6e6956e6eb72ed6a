namespace AnatomyPrep.Service.Accounts;

/// <summary>What people are here for; each account has one.</summary>
public static class Roles
{
    public const string Technician = "technician";
    public const string Coordinator = "coordinator";
    public const string QualityOfficer = "quality-officer";
    public const string Administrator = "administrator";

    public static IReadOnlyList<string> All { get; } = [Technician, Coordinator, QualityOfficer, Administrator];
}
