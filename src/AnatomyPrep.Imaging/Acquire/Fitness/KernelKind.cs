using System.Globalization;

namespace AnatomyPrep.Imaging.Acquire.Fitness;

/// <summary>How a reconstruction kernel treats edges.</summary>
internal enum KernelKind
{
    /// <summary>Not stated, or a name that is not known.</summary>
    Unknown,
    Soft,
    Medium,
    Sharp,
}

/// <summary>Tells kernels by the names scanners give them.</summary>
/// <remarks>Common practice, no source; from memory: words; a letter, perhaps another, and two digits that rise with sharpness; FC and two digits in groups.</remarks>
internal static class KernelKinds
{
    public static KernelKind Of(string? name)
    {
        if (name is null)
            return KernelKind.Unknown;
        var first = name.Split('\\', ' ')[0].ToUpperInvariant();
        return first switch
        {
            "BONE" or "BONEPLUS" or "EDGE" or "LUNG" or "SHARP" or "ULTRA" => KernelKind.Sharp,
            "DETAIL" => KernelKind.Medium,
            "SOFT" or "SMOOTH" or "STANDARD" or "STD" or "STD+" => KernelKind.Soft,
            ['F', 'C', var a, var b] when char.IsAsciiDigit(a) && char.IsAsciiDigit(b) => OfGroup(((a - '0') * 10) + (b - '0')),
            ['B' or 'H' or 'I' or 'J' or 'U' or 'Q' or 'D' or 'T', ..] => OfNumber(first),
            _ => KernelKind.Unknown,
        };
    }

    private static KernelKind OfGroup(int number) => number switch
    {
        < 30 or (>= 40 and < 50) or (>= 60 and < 80) => KernelKind.Soft,
        _ => KernelKind.Sharp,
    };

    private static KernelKind OfNumber(string name)
    {
        var start = name.AsSpan().IndexOfAnyInRange('0', '9');
        if (start is < 1 or > 2 || name.Length < start + 2 || !int.TryParse(name.AsSpan(start, 2), NumberStyles.None, CultureInfo.InvariantCulture, out var number))
            return KernelKind.Unknown;
        return number switch
        {
            >= 10 and <= 44 => KernelKind.Soft,
            > 44 and < 60 => KernelKind.Medium,
            >= 60 and < 100 => KernelKind.Sharp,
            _ => KernelKind.Unknown,
        };
    }
}
