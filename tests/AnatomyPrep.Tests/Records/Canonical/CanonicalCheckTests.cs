using System.Text;
using AnatomyPrep.Records.Canonical;

namespace AnatomyPrep.Tests.Records.Canonical;

/// <summary>The quick answer is the answer of writing the text again.</summary>
public sealed class CanonicalCheckTests
{
    private static readonly string[] s_texts =
    [
        "null", "true", "0", "-0", "1", "1.5", "1e+21", "1e21", "100000000000000000000", "123456789012345678", "0.1", "1.0", "-1", "1E5", "9007199254740993",
        "\"\"", "\"a\"", "\"\\u0061\"", "\"\\n\"", "\"\\u000a\"", "\"\\/\"", "\"é\"", "\"\\u00e9\"", "\"\\ud83d\\ude02\"", "\"\\ud83d\"", "\"\U0001F602\"",
        "[]", "[1,2]", "[1, 2]", "[[],{}]", "{}", "{\"a\":1,\"b\":2}", "{\"b\":1,\"a\":2}", "{\"a\":1,\"a\":2}", "{\"a\":{\"b\":1},\"b\":{\"a\":1}}",
        "{\"\U0001F602\":1,\"\uFB33\":2}", "{\"\uFB33\":1,\"\U0001F602\":2}", "{\"\":1,\"a\":2}", "{\"a\\\"\":1,\"b\":2}", "{\"a\":\"\\\"\"}",
        " 1", "1 ", "1\n", "", "[", "{\"a\"}", "1 2", "[1,]", "nul", "1e999", "1e-999", "5e-324", "{\"a\" :1}", "{\"a\": 1}", "\"\u007f\"", "\"\\u007f\"", "\"\u2028\"",
    ];

    [Fact]
    public void Every_text_gets_the_answer_of_writing_it_again()
    {
        foreach (var text in s_texts)
        {
            var bytes = Encoding.UTF8.GetBytes(text);
            CanonicalJson.IsCanonical(bytes).Should().Be(Slow(bytes), "of {0}", text);
        }
    }

    [Fact]
    [Trait("Kind", "Hostile")]
    public void Every_single_byte_change_gets_the_answer_of_writing_it_again()
    {
        var good = Encoding.UTF8.GetBytes("{\"a\":[1,0.25,-3e-7,true,null],\"b\":{\"x\":\"é\\n\\\"\\u0001\",\"y\":\"\U0001F602\"},\"c\":1e+21}");
        CanonicalJson.IsCanonical(good).Should().BeTrue();
        byte[] values = [0, 9, 10, 32, 34, 44, 46, 48, 49, 57, 58, 69, 92, 97, 101, 110, 117, 123, 125, 128, 195, 240, 255];
        for (var at = 0; at < good.Length; at++)
            foreach (var value in values)
            {
                var changed = good.ToArray();
                changed[at] = value;
                CanonicalJson.IsCanonical(changed).Should().Be(Slow(changed), "of {0}", Encoding.Latin1.GetString(changed));
            }
    }

    private static bool Slow(byte[] bytes)
    {
        try
        {
            return CanonicalJson.Canonicalize(bytes).AsSpan().SequenceEqual(bytes);
        }
        catch (StrictJsonException)
        {
            return false;
        }
    }
}
