using System.Security.Cryptography;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;
using AnatomyPrep.Core.Findings;
using AnatomyPrep.Records.Canonical;
using AnatomyPrep.Records.Envelopes;
using AnatomyPrep.Records.Keys;
using AnatomyPrep.Records.Statements;

namespace AnatomyPrep.Records.Ledgers.Events;

/// <summary>Who signs, as printed with the signature (21 CFR 11.50).</summary>
public sealed record Signatory(string Person, string Name, Role Role);

/// <summary>Personal data that only a key outside the tree opens: AES-256-GCM.</summary>
/// <param name="Data">Nonce (12 bytes), ciphertext, tag (16 bytes), base64.</param>
public sealed record SealedText(string Subject, string Data);

/// <summary>What is to be recorded, before it is signed.</summary>
/// <param name="Models">Revisions it is about, such as "M-1/1".</param>
/// <param name="Id">Given by a caller who may have to try again; else drawn at random.</param>
/// <param name="Role">Of the roles the person holds, the one acted in; null for the first that is allowed.</param>
public sealed record EventDraft(
    LedgerEventKind Kind,
    object Body,
    IReadOnlyList<string>? Models = null,
    string? Reason = null,
    SealedText? Personal = null,
    string? Id = null,
    Role? Role = null);

/// <summary>One event as it is signed. docs/formats/ledger.md describes every field.</summary>
/// <remarks>Holds no identifier of a patient but in <see cref="Personal"/>, which is sealed.</remarks>
public sealed record LedgerEvent
{
    public const string EventType = "https://anatomyprep.invalid/event/v1";

    /// <summary>Payload type of the envelope.</summary>
    public const string PayloadType = "application/vnd.anatomyprep.event+json";

    /// <summary>More than any honest event needs; a bound for hostile input.</summary>
    public const int LargestEnvelopeBytes = 1 << 20;

    private const int IdBytes = 16;

    private object? _body;

    public string Type { get; init; } = EventType;

    /// <summary>32 hex digits, unique in the ledger.</summary>
    public required string Id { get; init; }

    /// <summary>The ledger it was made for, so that it cannot be carried into another.</summary>
    public required string Ledger { get; init; }

    public required LedgerEventKind Kind { get; init; }

    public required DateTimeOffset At { get; init; }

    public required Signatory By { get; init; }

    public required Meaning Meaning { get; init; }

    public IReadOnlyList<string>? Models { get; init; }

    public string? Reason { get; init; }

    public SealedText? Personal { get; init; }

    public required JsonObject Body { get; init; }

    [JsonIgnore]
    public IReadOnlyList<string> ModelsOrNone => Models ?? [];

    public static string NewId() => Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(IdBytes));

    public static bool IsId(string text) => text.Length == 2 * IdBytes && text.All(char.IsAsciiHexDigitLower);

    /// <summary>The body in the type of its kind.</summary>
    public T Read<T>() => (T)(_body ??= EventBodies.Read(Kind, Body));

    public byte[] ToBytes() => CanonicalJson.Write(RecordJson.ToNode(this));

    public DsseEnvelope Sign(SigningKey key) => Dsse.Sign(PayloadType, ToBytes(), key);

    /// <summary>Reads a payload, strictly and in canonical form only.</summary>
    /// <exception cref="CheckFailedException">It is no event.</exception>
    public static LedgerEvent Parse(ReadOnlySpan<byte> payload)
    {
        try
        {
            if (!CanonicalJson.IsCanonical(payload))
            {
                // Strict reading says what is wrong with text that is not even JSON.
                CanonicalJson.Parse(payload);
                throw new CheckFailedException("event", "canonical JSON", "another form of it");
            }

            var result = JsonSerializer.Deserialize<LedgerEvent>(payload, RecordJson.Options)!;
            Require("type", EventType, result.Type);
            if (!IsId(result.Id))
                throw new CheckFailedException("event field id", "32 hex digits", result.Id);
            result._body = EventBodies.Read(result.Kind, result.Body);
            return result;
        }
        catch (StrictJsonException e)
        {
            throw new CheckFailedException("event", "strict JSON", e.Message);
        }
        catch (JsonException e)
        {
            throw new CheckFailedException($"event field {e.Path?.TrimStart('$', '.')}", "the form of event/v1", "something else");
        }
    }

    private static void Require(string field, string expected, string found)
    {
        if (expected != found)
            throw new CheckFailedException($"event field {field}", expected, found);
    }
}
