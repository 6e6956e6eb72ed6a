using System.Globalization;

namespace AnatomyPrep.Records.Inspections;

/// <summary>Where additions lie: a folder each, additions/0001 and so on, below that of the run.</summary>
public static class AdditionFiles
{
    public const string Folder = "additions";

    /// <summary>The signed statement (DSSE).</summary>
    public const string Addition = "addition.json";

    /// <summary>The public key that checks it.</summary>
    public const string PublicKey = "addition.pub.pem";

    /// <summary>The predicate of the statement, laid out for people.</summary>
    public const string Inspection = "inspection.json";

    private const int Digits = 4;

    public static string FolderOf(int number) => $"{Folder}/{number.ToString($"D{Digits}", CultureInfo.InvariantCulture)}";

    internal static bool IsAddition(string name) => name.StartsWith(Folder + "/", StringComparison.Ordinal);

    internal static bool IsOutsideStatement(string name) => name is Addition or PublicKey;

    /// <summary>The number of a file below the run's folder; null where it lies in no addition.</summary>
    internal static int? NumberOf(string name)
    {
        var parts = name.Split('/');
        return parts.Length > 2 && parts[1].Length == Digits && int.TryParse(parts[1], NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number > 0 ? number : null;
    }
}
