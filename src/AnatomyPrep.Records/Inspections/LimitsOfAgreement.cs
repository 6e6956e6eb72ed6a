namespace AnatomyPrep.Records.Inspections;

/// <summary>How two ways of measuring the same lengths agree: here the printed part and its model.</summary>
/// <param name="BiasMm">Mean of the differences; above 0 the part is larger.</param>
/// <param name="SdMm">Standard deviation of the differences.</param>
/// <param name="LowerMm">Bias less 1.96 SD: about 95 % of such differences lie above.</param>
/// <param name="UpperMm">Bias and 1.96 SD.</param>
/// <param name="BiasErrorMm">Standard error of the bias.</param>
/// <param name="LimitErrorMm">Standard error of each limit.</param>
/// <param name="LargestMm">Largest difference, without sign.</param>
/// <remarks>
/// J. M. Bland and D. G. Altman, "Statistical methods for assessing agreement between two methods of clinical measurement", Lancet 1986,
///   i: 307-310 (from memory): the limits, √(s²/n) for the bias and √(3s²/n) for a limit. They write 2 SD for the 1.96 of a normal
///   distribution. The limits mean what they say only where differences do not grow with the length; a scale error makes them grow.
/// </remarks>
public sealed record LimitsOfAgreement(int Count, double BiasMm, double SdMm, double LowerMm, double UpperMm, double BiasErrorMm, double LimitErrorMm, double LargestMm)
{
    private const double Width = 1.96;

    /// <exception cref="ArgumentException">Fewer than two differences.</exception>
    public static LimitsOfAgreement Of(IReadOnlyList<double> differencesMm)
    {
        var n = differencesMm.Count;
        if (n < 2)
            throw new ArgumentException("Agreement takes at least two differences.", nameof(differencesMm));
        var bias = differencesMm.Sum() / n;
        var sd = Math.Sqrt(differencesMm.Sum(d => (d - bias) * (d - bias)) / (n - 1));
        return new(n, bias, sd, bias - (Width * sd), bias + (Width * sd), sd / Math.Sqrt(n), sd * Math.Sqrt(3.0 / n), differencesMm.Max(Math.Abs));
    }

    /// <summary>Every difference found, and both limits, lie within the tolerance.</summary>
    public bool IsWithin(double toleranceMm) => LargestMm <= toleranceMm && LowerMm >= -toleranceMm && UpperMm <= toleranceMm;
}
