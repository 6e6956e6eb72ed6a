using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Storage;

/// <summary>How long files are kept. Records, reports, events and the ledger are always kept.</summary>
public sealed record RetentionSettings
{
    /// <summary>Days after filing and last use after which the images of a source expire; null: never.</summary>
    public int? SourceDays { get; init; }

    /// <summary>Days after its end after which the files of a job's result expire, unless the model was released; null: never.</summary>
    public int? ResultDays { get; init; }

    internal void Check()
    {
        ServiceSettings.Require(SourceDays is null or (>= 1 and <= 36_500), "retention.sourceDays", SourceDays ?? 0, "1 to 36500, or nothing for ever");
        ServiceSettings.Require(ResultDays is null or (>= 1 and <= 36_500), "retention.resultDays", ResultDays ?? 0, "1 to 36500, or nothing for ever");
    }
}
