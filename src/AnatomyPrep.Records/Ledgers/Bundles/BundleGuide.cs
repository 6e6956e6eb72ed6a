using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Bundles;

/// <summary>What a reader of a bundle needs to know.</summary>
internal static class BundleGuide
{
    public static string Text(Ledger ledger, TreeHead head, IReadOnlyList<string> models) =>
        $"""
        # {string.Join(", ", models)}

        {EducationAndPlanning.Warning}.

        This file holds the history of the models above, as the ledger {ledger.Id} had it at {RecordTime.Text(head.At)}
        with {head.Size} events, and the means to check that nothing in it was changed.

        | file | what it is |
        |---|---|
        | manifest.json | SHA-256 of every other file, signed with the ledger's key (DSSE) |
        | head.json | size and root of the ledger's Merkle tree (RFC 9162), signed with the ledger's key (DSSE) |
        | events/N.json | event N, signed by who did it (DSSE); its bytes are leaf N of the tree |
        | proofs/N.json | the hashes that lead from event N to the root in head.json |
        | keys/ledger.pem | the ledger's public key |
        | keys/FINGERPRINT.pem | public keys of the people who signed; the fingerprint is the SHA-256 of the key (DER) |
        | models/MODEL/ | the folder of the finished run: model, pictures, report, and its own signed record |

        Compare the fingerprint of keys/ledger.pem with one you have from the laboratory by another way:

            openssl pkey -pubin -in keys/ledger.pem -outform DER | sha256sum

        It should be {ledger.People.LogKeyId}.

        To read an event: its payload is base64. To check everything without the laboratory's software: the page
        "Check a bundle without our software" (check-a-bundle.md) has all of it in openssl and a page of Python.

        """.ReplaceLineEndings("\n");
}
