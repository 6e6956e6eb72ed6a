namespace AnatomyPrep.Service.Events;

/// <summary>Something that happened and that somebody may ask about later. Never holds an identifier of a patient.</summary>
/// <param name="Kind">Such as "source.filed".</param>
/// <param name="Subject">What it happened to: the number of a source, a job, an account.</param>
/// <param name="Actor">The account that did it; null for the service itself.</param>
/// <param name="Code">Of a finding, where it is one.</param>
/// <param name="Detail">One sentence.</param>
public sealed record ServiceEvent(string Kind, string? Subject, string? Actor = null, string? Code = null, string? Detail = null)
{
    /// <summary>Of a new job: what was asked for. The list of events does not keep it.</summary>
    [System.Text.Json.Serialization.JsonIgnore]
    public Records.Statements.RunRequest? Request { get; init; }
}

/// <summary>An event with its place in the log.</summary>
public sealed record LoggedEvent(long Number, DateTimeOffset At, ServiceEvent Event);

/// <summary>Where events go; the signed ledger takes them too (<see cref="IEventGate"/>).</summary>
public interface IEventSink
{
    void Append(ServiceEvent happened);
}
