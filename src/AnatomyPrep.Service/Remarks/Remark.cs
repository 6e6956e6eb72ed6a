using AnatomyPrep.Core.Findings;

namespace AnatomyPrep.Service.Remarks;

/// <summary>What somebody means by a remark.</summary>
public enum Verdict
{
    /// <summary>A word about it, no more.</summary>
    Note,

    /// <summary>It is what was asked for.</summary>
    Fits,

    /// <summary>It is not; the remark says what and where.</summary>
    Back,
}

/// <summary>A place that a remark is about.</summary>
/// <param name="AtMm">Where the images are (LPS), or on the model as it lies where nobody knows the way back.</param>
/// <param name="OnModel">True for the latter.</param>
public sealed record RemarkMark(double[] AtMm, string Words, bool OnModel = false);

/// <summary>What is sent to make a remark.</summary>
/// <param name="Words">For people here: they go into no record, message, event or log.</param>
public sealed record NewRemark(Verdict Verdict, string? Words = null, IReadOnlyList<RemarkMark>? Marks = null)
{
    private const int LongestWords = 500;
    private const int MostMarks = 50;
    private const double FarthestMm = 1e5;

    /// <exception cref="PlanException">A value that is not allowed; the message says which are.</exception>
    public void Check()
    {
        if (!IsWords(Words))
            throw Wrong("words", "at most 500 characters of text");
        if (Marks is { Count: > MostMarks } || Marks?.Any(m => !IsWords(m.Words) || m.AtMm.Length != 3 || !m.AtMm.All(c => Math.Abs(c) <= FarthestMm)) == true)
            throw Wrong("marks", "at most 50, each with three numbers in mm and at most 500 characters of text");
        if (Verdict == Verdict.Back && string.IsNullOrWhiteSpace(Words) && Marks is not { Count: > 0 })
            throw Wrong("words", "what is wrong, in words or by a mark: the technician has nothing else to go by");
    }

    private static bool IsWords(string? text) => text is null || (text.Length <= LongestWords && !text.Any(c => char.IsControl(c) && c != '\n'));

    private static PlanException Wrong(string field, string allowed) => new("remark", null, field, "not allowed", allowed);
}

/// <summary>A remark as it is kept; none is ever changed.</summary>
public sealed record Remark(int Number, Verdict Verdict, string? Words, IReadOnlyList<RemarkMark> Marks, DateTimeOffset At, string By);
