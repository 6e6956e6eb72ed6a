using System.Text;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Statements;
using AnatomyPrep.Service.Requests;
using CsCheck;

namespace AnatomyPrep.Tests.Service.Requests;

/// <summary>A table gives its requests, or says of every wrong row what is wrong.</summary>
public sealed class RequestTableTests
{
    private static readonly string[] s_words = ["purpose", "anatomy", "plan", ",", ";", "\"", "\n", "\r\n", "education", "skull", "x", " "];

    [Theory]
    [InlineData("purpose,anatomy,side,scale,neededBy,profile,plan,note,patientId\r\neducation,skull,left,0.5,2026-12-24,vat,bone,\"for \"\"B\"\", room 2\r\nsecond line\",P1\r\n")]
    [InlineData("\uFEFFPurpose;ANATOMY;side;scale;neededby;profile;plan;note;patientid\neducation;skull;LEFT;0.5;2026-12-24;vat;bone;\"for \"\"B\"\", room 2\nsecond line\";P1")]
    public void A_row_is_read_whatever_the_spreadsheet_writes(string text)
    {
        var (rows, errors) = RequestTable.Read(Encoding.UTF8.GetBytes(text));
        errors.Should().BeEmpty();
        var (line, row) = rows.Should().ContainSingle().Subject;
        line.Should().Be(2);
        (row with { Note = null }).Should().Be(new NewRequest(Purpose.Education, "skull", "bone", Side.Left, 0.5, new DateOnly(2026, 12, 24), "vat", null, null, "P1"));
        row.Note!.ReplaceLineEndings("\n").Should().Be("for \"B\", room 2\nsecond line");
    }

    [Fact]
    public void Every_wrong_row_is_named_by_line_and_field()
    {
        var (rows, errors) = RequestTable.Read("purpose,anatomy,plan,scale,neededBy,side\neducation,skull,bone,1,,\nfun,skull,bone,big,24.12.2026,up\n\neducation,,bone,,,\neducation,skull\n,skull,,,,7\n"u8.ToArray());
        rows.Should().BeEmpty();
        errors.Select(e => (e.Line, e.Field)).Should().Equal((3, "purpose"), (3, "side"), (3, "scale"), (3, "neededBy"), (5, "anatomy"), (6, "row"), (7, "purpose"), (7, "side"), (7, "plan"));
    }

    [Theory]
    [InlineData("", "rows")]
    [InlineData("purpose,anatomy,plan", "rows")]
    [InlineData("purpose,colour\neducation,red", "columns")]
    [InlineData("purpose,purpose\neducation,education", "columns")]
    [InlineData("purpose,anatomy,plan\neducation,\"skull,bone", "line 2")]
    [InlineData("purpose,anatomy,plan\neducation,\"skull\"x,bone", "line 2")]
    public void What_is_no_such_table_is_refused(string text, string field) =>
        FluentActions.Invoking(() => RequestTable.Read(Encoding.UTF8.GetBytes(text))).Should().Throw<BadInputException>().Which.Field.Should().Be(field);

    [Fact]
    public void Text_that_is_not_UTF8_and_too_many_rows_are_refused()
    {
        FluentActions.Invoking(() => RequestTable.Read([0x70, 0xFF, 0xFE])).Should().Throw<BadInputException>().WithMessage("*UTF-8*");
        var many = "purpose,anatomy,plan\n" + string.Concat(Enumerable.Repeat("education,skull,bone\n", RequestTable.MostRows + 1));
        FluentActions.Invoking(() => RequestTable.Read(Encoding.UTF8.GetBytes(many))).Should().Throw<BadInputException>().WithMessage("*1000*");
    }

    [Fact]
    public void Whatever_bytes_come_they_are_read_or_refused() => Gen.OneOf(
        Gen.Byte.Array[0, 300],
        Gen.Int[0, s_words.Length - 1].Select(k => s_words[k]).Array[0, 60].Select(words => Encoding.UTF8.GetBytes(string.Concat(words))))
        .Sample(
            bytes =>
            {
                try
                {
                    var (rows, errors) = RequestTable.Read(bytes);
                    return (rows.Count == 0) != (errors.Count == 0);
                }
                catch (BadInputException)
                {
                    return true;
                }
            },
            iter: 3000);
}
