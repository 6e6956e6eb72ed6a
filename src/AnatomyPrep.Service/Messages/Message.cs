using System.Text.Json;
using System.Text.Json.Serialization;

namespace AnatomyPrep.Service.Messages;

public enum MessageState
{
    /// <summary>To be delivered, or to be tried again.</summary>
    Pending,
    Delivered,

    /// <summary>Refused for good, or given up.</summary>
    Failed,
}

/// <summary>One change, for one target.</summary>
/// <param name="Id">The same with every try: who gets it twice knows by it.</param>
/// <param name="Kind">Such as job.done.</param>
/// <param name="Error">Why the last try failed.</param>
public sealed record Message(
    string Id, string Target, string Kind, string? RequestId, string? JobId, DateTimeOffset At, MessageState State, int Tries, DateTimeOffset? NextAt, string? Error, DateTimeOffset? EndedAt)
{
    /// <summary>What is sent: kind, time and numbers only, so that no word of a person can be in it. The same bytes with every try.</summary>
    internal byte[] Body() => JsonSerializer.SerializeToUtf8Bytes(new MessageBody(Id, Kind, At, RequestId, JobId), MessageBody.Json);
}

/// <summary>What a webhook gets.</summary>
internal sealed record MessageBody(string Id, string Type, DateTimeOffset Timestamp, string? RequestId, string? JobId)
{
    public static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web) { DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull };
}
