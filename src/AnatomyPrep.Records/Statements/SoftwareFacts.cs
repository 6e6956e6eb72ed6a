namespace AnatomyPrep.Records.Statements;

/// <summary>The program that made the model. Nothing in it names a machine or a person.</summary>
/// <param name="Runtime">Such as ".NET 10.0.1".</param>
/// <param name="Os">Such as "Debian GNU/Linux 12".</param>
/// <param name="Commit">Revision of the source it was built from; null for a build without one.</param>
public sealed record SoftwareFacts(
    string Name,
    string Version,
    string Runtime,
    string Os,
    IReadOnlyList<PackageFacts> Packages,
    string? Commit = null)
{
    /// <summary>Program, version and revision on one line.</summary>
    public string NameAndRevision() => $"{Name} {Version} {Commit ?? "unknown"}";
}

/// <summary>A library the program used.</summary>
public sealed record PackageFacts(string Name, string Version);
