using System.Globalization;
using System.Text;
using AnatomyPrep.Meshing.Formats;
using CsCheck;

namespace AnatomyPrep.Tests.Meshing.Formats;

public sealed class DecimalTextTests
{
    private static readonly Gen<string> s_number =
        from sign in Gen.Int[0, 2].Select(i => new[] { "", "-", "+" }[i])
        from whole in Gen.Char['0', '9'].Array[0, 24]
        from fraction in Gen.Char['0', '9'].Array[0, 24]
        from point in Gen.Bool
        from exponent in Gen.OneOf(Gen.Const(""), Gen.Int[-400, 400].Select(e => $"e{e}"), Gen.Int[0, 30].Select(e => $"E+{e}"))
        where whole.Length + (point ? fraction.Length : 0) > 0
        select sign + new string(whole) + (point ? "." + new string(fraction) : "") + exponent;

    /// <summary>The library's parser is correctly rounded (IEEE 754), so both must give the same bits.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Any_decimal_number_is_read_as_the_library_reads_it() => s_number.Sample(
        text =>
        {
            DecimalText.TryParse(Encoding.ASCII.GetBytes(text), out double value).Should().BeTrue(text);
            BitConverter.DoubleToInt64Bits(value).Should().Be(BitConverter.DoubleToInt64Bits(double.Parse(text, CultureInfo.InvariantCulture)), text);
        },
        iter: 20_000,
        threads: 1);

    [Theory]
    [Trait("Kind", "Hostile")]
    [InlineData("")]
    [InlineData("-")]
    [InlineData(".")]
    [InlineData("e5")]
    [InlineData("1e")]
    [InlineData("1e+")]
    [InlineData("1.2.3")]
    [InlineData("1,5")]
    [InlineData("nan")]
    [InlineData("Infinity")]
    [InlineData("0x10")]
    [InlineData("1 ")]
    [InlineData(" 1")]
    [InlineData("--1")]
    [InlineData("1f")]
    [InlineData("1_000")]
    public void Anything_else_is_no_number(string text) => DecimalText.TryParse(Encoding.ASCII.GetBytes(text), out double _).Should().BeFalse();

    [Fact]
    [Trait("Kind", "Hostile")]
    public void A_long_exponent_does_not_overflow_into_a_small_one()
    {
        DecimalText.TryParse("1e99999999999999999999"u8, out double large).Should().BeTrue();
        large.Should().Be(double.PositiveInfinity);
        DecimalText.TryParse("1e-99999999999999999999"u8, out double small).Should().BeTrue();
        small.Should().Be(0);
    }

    private static readonly Gen<float> s_value = Gen.OneOf(
        Gen.Float.Where(float.IsFinite),
        Gen.Float[-1000, 1000],
        Gen.Int[-10_000_000, 10_000_000].Select(Gen.Int[0, 9], (n, d) => (float)(n / Math.Pow(10, d))),
        Gen.Int[-200, 20_000_000].Select(Gen.Int[-30, 3], (n, e) => MathF.ScaleB(n, e)));

    /// <summary>The library's "R" gives the shortest text that reads back alike (since 2019); ours must be that text.</summary>
    [Fact]
    [Trait("Kind", "Property")]
    public void Written_numbers_are_the_shortest_that_read_back_alike() => s_value.Sample(
        value =>
        {
            var bytes = new byte[FloatText.MostBytes];
            var text = Encoding.ASCII.GetString(bytes, 0, FloatText.Format(value, bytes));
            if (text != (value == 0 ? "0" : value.ToString("R", CultureInfo.InvariantCulture)) || float.Parse(text, CultureInfo.InvariantCulture) != value)
                throw new InvalidOperationException($"{value:R} was written as {text}");
            if (!System.Text.RegularExpressions.Regex.IsMatch(text, "^-?[0-9]+(\\.[0-9]+)?(E[-+][0-9]+)?$"))
                throw new InvalidOperationException($"{text} is no number to 3MF");
        },
        iter: 60_000,
        threads: 1);
}
