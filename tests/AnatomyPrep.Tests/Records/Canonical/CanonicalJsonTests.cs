using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json.Nodes;
using AnatomyPrep.Records.Canonical;
using CsCheck;
using Microsoft.ClearScript.V8;

namespace AnatomyPrep.Tests.Records.Canonical;

public sealed class CanonicalJsonTests
{
    /// <summary>
    /// Output sizes and SHA-256 of the test files of cyberphone/json-canonicalization, testdata, revision 19d51d7, the reference
    /// implementation of RFC 8785. The inputs say the same values in another order and with other escapes.
    /// </summary>
    public static TheoryData<string, string, int, string> ReferenceFiles => new()
    {
        { "arrays", """[56,{"1":[],"d":true, "10":null}]""", 32, "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42" },
        {
            "french",
            """{"sin":"ignore locale","pêche":"but canonicalization MUST","p\u00e9ch\u00e9":"is wrong according to French","peach":"This sorting order"}""",
            130,
            "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5"
        },
        {
            "structures",
            """{"A":{},"111":[{"e":"yes","E":"no"}],"a":{},"":"empty","10":{},"1":{"\u000a":56.0,"f":{"F":5,"f":"hi"}}}""",
            98,
            "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5"
        },
        { "unicode", """{"Unnormalized Unicode":"A\u030a"}""", 30, "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3" },
        {
            "values",
            """{"string":"\u20AC$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"literals":[null,true,false]}""",
            118,
            "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
        },
        {
            "weird",
            """{"</script>":"Browser Challenge","\ufb33":"Hebrew Letter Dalet With Dagesh","\u00f6":"Latin Small Letter O With Diaeresis","\ud83d\ude02":"Smiley","\u0080":"Control\u007f","1":"One","\u000a":"Newline","\r":"Carriage Return","\u20ac":"Euro Sign"}""",
            214,
            "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1"
        },
    };

    /// <summary>IEEE bits and text of RFC 8785, appendix B, as quoted by the reference implementation's tests.</summary>
    public static TheoryData<string, string> AppendixB => new()
    {
        { "0000000000000000", "0" },
        { "8000000000000000", "0" },
        { "0000000000000001", "5e-324" },
        { "8000000000000001", "-5e-324" },
        { "7fefffffffffffff", "1.7976931348623157e+308" },
        { "4340000000000000", "9007199254740992" },
        { "4430000000000000", "295147905179352830000" },
        { "44b52d02c7e14af5", "9.999999999999997e+22" },
        { "44b52d02c7e14af6", "1e+23" },
        { "44b52d02c7e14af7", "1.0000000000000001e+23" },
        { "444b1ae4d6e2ef4f", "999999999999999900000" },
        { "444b1ae4d6e2ef50", "1e+21" },
        { "3eb0c6f7a0b5ed8c", "9.999999999999997e-7" },
        { "3eb0c6f7a0b5ed8d", "0.000001" },
        { "41b3de4355555556", "333333333.3333334" },
        { "becbf647612f3696", "-0.0000033333333333333333" },
        { "43143ff3c1cb0959", "1424953923781206.2" },
    };

    /// <summary>Text that strict reading refuses, and the words it is refused with. RFC 8259 and RFC 7493 (I-JSON).</summary>
    public static TheoryData<string, string> Refused => new()
    {
        { "{\"a\":1,\"a\":2}", "occurs twice" },
        { "{\"a\":1,\"\\u0061\":2}", "occurs twice" },
        { "{\"b\":{\"a\":1,\"c\":[],\"a\":1}}", "occurs twice" },
        { "\"\\ud83d\"", "not valid Unicode" },
        { "\"\\ude02\"", "not valid Unicode" },
        { "\"\\ude02\\ud83d\"", "not valid Unicode" },
        { "{\"\\ud83d\":1}", "not valid Unicode" },
        { "1e309", "range of IEEE double" },
        { "-1e309", "range of IEEE double" },
        { "1e-400", "range of IEEE double" },
        { "[0.00000001e-320]", "range of IEEE double" },
        { "NaN", "not well-formed" },
        { "Infinity", "not well-formed" },
        { "-Infinity", "not well-formed" },
        { "01", "not well-formed" },
        { "+1", "not well-formed" },
        { ".5", "not well-formed" },
        { "1.", "not well-formed" },
        { "0x10", "not well-formed" },
        { "'a'", "not well-formed" },
        { "[1,]", "not well-formed" },
        { "{\"a\":1,}", "not well-formed" },
        { "{a:1}", "not well-formed" },
        { "/**/1", "not well-formed" },
        { "1//", "not well-formed" },
        { "\"\t\"", "not well-formed" },
        { "\"\\x41\"", "not well-formed" },
        { "", "not well-formed" },
        { " ", "not well-formed" },
        { "\uFEFF1", "not well-formed" },
        { "1 2", "not well-formed" },
        { "{}x", "not well-formed" },
        { "{}\0", "not well-formed" },
        { "[", "not well-formed" },
        { "tru", "not well-formed" },
    };

    [Theory]
    [MemberData(nameof(ReferenceFiles))]
    [Trait("Kind", "Outside")]
    public void Reference_file_gets_the_bytes_of_the_reference_implementation(string name, string input, int bytes, string sha256)
    {
        var output = CanonicalJson.Canonicalize(Encoding.UTF8.GetBytes(input));
        output.Length.Should().Be(bytes, "of {0}: {1}", name, Encoding.UTF8.GetString(output));
        Convert.ToHexStringLower(SHA256.HashData(output)).Should().Be(sha256);
    }

    [Theory]
    [MemberData(nameof(AppendixB))]
    [Trait("Kind", "Outside")]
    public void Number_gets_the_text_of_appendix_B(string bits, string text)
    {
        var number = BitConverter.UInt64BitsToDouble(ulong.Parse(bits, NumberStyles.HexNumber, CultureInfo.InvariantCulture));
        Text(JsonValue.Create(number)).Should().Be(text);
        Text(CanonicalJson.Parse(Encoding.UTF8.GetBytes(text))).Should().Be(text);
    }

    /// <summary>JSON.stringify of an ECMAScript engine (V8) is what RFC 8785 takes number and string text from.</summary>
    [Fact]
    [Trait("Kind", "Outside")]
    public void Numbers_and_strings_get_the_text_V8_gives_them()
    {
        using var engine = new V8ScriptEngine();
        dynamic stringify = engine.Evaluate("(function (v) { return JSON.stringify(v); })");
        var random = new Random(20260101);
        for (var i = 0; i < 4000; i++)
        {
            var number = i % 2 == 0
                ? BitConverter.Int64BitsToDouble(random.NextInt64(long.MinValue, long.MaxValue))
                : Math.Round(random.NextDouble() * 1e4, i % 7) * Math.Pow(10, random.Next(-12, 24));
            if (double.IsFinite(number))
                Text(JsonValue.Create(number)).Should().Be((string)stringify(number));
        }

        for (var c = 0; c < 0xD800; c += c < 0x100 ? 1 : 37)
            Text(JsonValue.Create("a" + (char)c + "b")).Should().Be((string)stringify("a" + (char)c + "b"));
    }

    [Theory]
    [MemberData(nameof(Refused))]
    [Trait("Kind", "Hostile")]
    public void Text_that_can_be_read_two_ways_is_refused(string text, string problem)
    {
        var read = () => CanonicalJson.Parse(Encoding.UTF8.GetBytes(text));
        read.Should().Throw<StrictJsonException>().Which.Problem.Should().Contain(problem);
    }

    [Theory]
    [InlineData("22C322")] // a lead byte without its follower
    [InlineData("22C0AF22")] // overlong '/'
    [InlineData("22EDA08022")] // a surrogate in UTF-8
    [InlineData("22F490808022")] // above U+10FFFF
    [InlineData("7B22FF223A317D")] // in a name
    [InlineData("FF")]
    [Trait("Kind", "Hostile")]
    public void Bytes_that_are_not_UTF8_are_refused(string hex)
    {
        var read = () => CanonicalJson.Parse(Convert.FromHexString(hex));
        read.Should().Throw<StrictJsonException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Nesting_is_read_up_to_the_limit_and_refused_above()
    {
        static byte[] Nested(int depth) => Encoding.UTF8.GetBytes(new string('[', depth) + new string(']', depth));
        CanonicalJson.IsCanonical(Nested(64)).Should().BeTrue();
        var deeper = () => CanonicalJson.Parse(Nested(65));
        deeper.Should().Throw<StrictJsonException>();
        var hostile = () => CanonicalJson.Parse(Nested(1_000_000));
        hostile.Should().Throw<StrictJsonException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_prefix_is_refused_and_every_extra_byte_but_white_space()
    {
        var text = Encoding.UTF8.GetBytes("""{"a":[1,2.5,"\u00e9\n"],"b":{"c":null,"d":true}}""");
        for (var length = 0; length < text.Length; length++)
        {
            var prefix = text[..length];
            var read = () => CanonicalJson.Parse(prefix);
            read.Should().Throw<StrictJsonException>("of the first {0} bytes", length);
        }

        for (var extra = 0; extra < 256; extra++)
        {
            byte[] longer = [.. text, (byte)extra];
            var read = () => CanonicalJson.Parse(longer);
            if (extra is ' ' or '\t' or '\n' or '\r')
                read.Should().NotThrow();
            else
                read.Should().Throw<StrictJsonException>();
            CanonicalJson.IsCanonical(longer).Should().BeFalse();
        }
    }

    [Theory]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    [InlineData(double.NegativeInfinity)]
    [Trait("Kind", "Hostile")]
    public void Numbers_without_text_are_not_written(double number)
    {
        var write = () => CanonicalJson.Write(new JsonArray(number));
        write.Should().Throw<ArgumentException>();
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Lone_surrogates_are_not_written_as_something_else()
    {
        var value = () => CanonicalJson.Write(JsonValue.Create("a\ud83d"));
        var name = () => CanonicalJson.Write(new JsonObject { ["\ude02"] = 1 });
        value.Should().Throw<ArgumentException>();
        name.Should().Throw<ArgumentException>();
    }

    /// <summary>2^53 is the last integer before doubles skip some (IEEE 754).</summary>
    [Fact]
    public void Integers_that_would_lose_digits_are_not_written()
    {
        Text(JsonValue.Create(9007199254740992)).Should().Be("9007199254740992");
        Text(JsonValue.Create(-9007199254740992)).Should().Be("-9007199254740992");
        var write = () => CanonicalJson.Write(JsonValue.Create(9007199254740993));
        write.Should().Throw<ArgumentException>().WithMessage("*9007199254740993*");
    }

    [Fact]
    public void It_does_not_matter_in_which_type_a_node_holds_its_number()
    {
        foreach (var node in new JsonNode[] { 5, 5L, 5.0, 5f, 5m, (byte)5, JsonNode.Parse("5.00")! })
            Text(node).Should().Be("5");
    }

    [Fact]
    [Trait("Kind", "Property")]
    public void Reading_what_was_written_gives_the_same_bytes() =>
        Values(3).Sample(node =>
        {
            var bytes = CanonicalJson.Write(node);
            CanonicalJson.Write(CanonicalJson.Parse(bytes)).Should().Equal(bytes);
            CanonicalJson.IsCanonical(bytes).Should().BeTrue();
        }, iter: 2000);

    [Fact]
    [Trait("Kind", "Property")]
    public void The_order_of_names_does_not_matter() =>
        Gen.Select(Gen.String[Gen.Char.AlphaNumeric, 0, 3], Gen.Int).Array[0, 8].Sample(pairs =>
        {
            var distinct = pairs.DistinctBy(p => p.Item1).ToArray();
            var forward = new JsonObject(distinct.Select(p => KeyValuePair.Create(p.Item1, (JsonNode?)p.Item2)));
            var backward = new JsonObject(distinct.Reverse().Select(p => KeyValuePair.Create(p.Item1, (JsonNode?)p.Item2)));
            CanonicalJson.Write(forward).Should().Equal(CanonicalJson.Write(backward));
        }, iter: 1000);

    private static string Text(JsonNode? node) => Encoding.UTF8.GetString(CanonicalJson.Write(node));

    private static Gen<JsonNode?> Values(int depth)
    {
        var text = Gen.String[0, 8].Where(IsValidUnicode);
        var number = Gen.OneOf(Gen.Double, Gen.Int.Select(i => (double)i), Gen.Double[-1, 1]).Where(double.IsFinite);
        var leaf = Gen.OneOf(
            text.Select(t => (JsonNode?)t),
            number.Select(n => (JsonNode?)n),
            Gen.Bool.Select(b => (JsonNode?)b),
            Gen.Const((JsonNode?)null));
        if (depth == 0)
            return leaf;
        var inner = Values(depth - 1);
        return Gen.OneOf(
            leaf,
            inner.Array[0, 4].Select(items => (JsonNode?)new JsonArray([.. items.Select(i => i?.DeepClone())])),
            Gen.Select(text, inner).Array[0, 4].Select(fields => (JsonNode?)new JsonObject(
                fields.DistinctBy(f => f.Item1).Select(f => KeyValuePair.Create(f.Item1, f.Item2?.DeepClone())))));
    }

    private static bool IsValidUnicode(string text)
    {
        for (var rest = text.AsSpan(); rest.Length > 0;)
        {
            if (Rune.DecodeFromUtf16(rest, out _, out var used) != System.Buffers.OperationStatus.Done)
                return false;
            rest = rest[used..];
        }

        return true;
    }
}
