using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Keys;

namespace AnatomyPrep.Tests.Records.Keys;

public sealed class SiteKeyTests
{
    [Fact]
    [Trait("Kind", "Outside")]
    public void Pseudonym_is_the_HMAC_openssl_computes()
    {
        using var folder = new TestFolder();
        var keys = new KeyFolder(folder["keys"]);
        var site = keys.OpenSiteKey();
        var hex = File.ReadAllText(Path.Combine(folder["keys"], KeyFolder.SiteKeyFile)).Trim();
        File.WriteAllText(folder["message"], "study\01.2.840.99999.1");
        Tool.Run(folder.Path, "openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", $"hexkey:{hex}", "message")
            .Output.Should().Contain(site.Pseudonym(IdentifierKind.Study, "1.2.840.99999.1"));
    }

    [Fact]
    public void Pseudonyms_differ_by_kind_identifier_and_site_and_by_nothing_else()
    {
        var (here, there) = (SiteKey.Create(), SiteKey.Create());
        var reference = here.Pseudonym(IdentifierKind.Study, "1.2.3");
        here.Pseudonym(IdentifierKind.Study, "1.2.3\0").Should().Be(reference);
        here.Pseudonym(IdentifierKind.Study, "1.2.3 ").Should().Be(reference);
        here.Pseudonym(IdentifierKind.Series, "1.2.3").Should().NotBe(reference);
        here.Pseudonym(IdentifierKind.Study, "1.2.4").Should().NotBe(reference);
        there.Pseudonym(IdentifierKind.Study, "1.2.3").Should().NotBe(reference);
    }

    [Theory]
    [InlineData(null)]
    [InlineData("")]
    [InlineData(" ")]
    [InlineData("\0")]
    public void A_missing_identifier_has_no_pseudonym(string? identifier) =>
        SiteKey.Create().Pseudonym(IdentifierKind.Patient, identifier).Should().BeNull();

    [Theory]
    [InlineData("")]
    [InlineData("abc")]
    [InlineData("00112233445566778899aabbccddeeff00112233445566778899aabbccddee")]
    [InlineData("zz112233445566778899aabbccddeeff00112233445566778899aabbccddeeff")]
    [Trait("Kind", "Hostile")]
    public void A_damaged_site_key_is_refused(string content)
    {
        using var folder = new TestFolder();
        var keys = new KeyFolder(folder["keys"]);
        keys.OpenSiteKey();
        File.WriteAllText(Path.Combine(folder["keys"], KeyFolder.SiteKeyFile), content);
        var open = () => keys.OpenSiteKey();
        open.Should().Throw<BadInputException>().Which.File.Should().Be(KeyFolder.SiteKeyFile);
    }
}
