namespace AnatomyPrep.Records.Statements;

/// <summary>Names of the record's own files in the folder of a run.</summary>
public static class RecordFiles
{
    /// <summary>The signed statement (DSSE).</summary>
    public const string Record = "record.json";

    /// <summary>The public key that checks it.</summary>
    public const string PublicKey = "record.pub.pem";

    /// <summary>The predicate of the statement, laid out for people.</summary>
    public const string Run = "run.json";

    /// <summary>The report that people sign on paper; it bears the <see cref="RunCode"/>.</summary>
    public const string Report = "report.pdf";

    /// <summary>Labels for the bag, with the same code.</summary>
    public const string Label = "label.pdf";

    internal static bool IsOutsideStatement(string name) => name is Record or PublicKey;
}
