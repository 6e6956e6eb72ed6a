using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Records.Statements;

/// <summary>The plan that was run, whole.</summary>
/// <param name="Text">The YAML as it was read, so that the plan can be run again from the record alone.</param>
public sealed record PlanFacts(string Name, string Version, string Text)
{
    /// <summary>SHA-256 of the text in UTF-8, hex.</summary>
    public string Sha256 => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(Text)));
}
