using System.Globalization;
using AnatomyPrep.Core.Dicom;
using CsCheck;

namespace AnatomyPrep.Tests.Core.Dicom;

public sealed class DecimalStringTests
{
    [Theory]
    [Trait("Kind", "Outside")]
    // DICOM PS3.5 table 6.2-1: at most 16 characters.
    [InlineData(0.0, "0")]
    [InlineData(1.0, "1")]
    [InlineData(-0.34202014332566873, "-0.3420201433257")]
    [InlineData(0.9396926207859084, "0.93969262078591")]
    [InlineData(1.0 / 3, "0.33333333333333")]
    public void Numbers_are_cut_to_sixteen_characters(double value, string expected) => DecimalString.Format(value).Should().Be(expected);

    [Fact]
    [Trait("Kind", "Property")]
    public void Every_number_fits_and_loses_at_most_its_tenth_digit() =>
        Gen.Double.Sample(
            value =>
            {
                if (!double.IsFinite(value))
                    return true;
                var text = DecimalString.Format(value);
                var back = double.Parse(text, CultureInfo.InvariantCulture);
                // Worst case "-1.234567890E-300": sign, point and exponent leave 9 significant digits.
                return text.Length <= 16 && (Math.Abs(back - value) <= Math.Abs(value) * 1e-8 || Math.Abs(value) < 1e-300);
            },
            iter: 20000);

    [Fact]
    [Trait("Kind", "Property")]
    public void What_was_cut_once_is_not_cut_again() =>
        Gen.Double[-1e4, 1e4].Sample(value => DecimalString.Quantise(DecimalString.Quantise(value)).Equals(DecimalString.Quantise(value)), iter: 20000);
}
