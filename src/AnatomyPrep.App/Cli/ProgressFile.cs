using System.Globalization;
using AnatomyPrep.Core.Plans;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.App.Cli;

/// <summary>Appends a line "milliseconds share stage" to a file as each stage begins, for whoever started this program.</summary>
/// <remarks>The share counts stages, not time: reading, every step of the plan, checking, pictures, files, record.</remarks>
internal sealed class ProgressFile : IProgress<RunProgress>, IDisposable
{
    private const int StagesBesideSteps = 5;

    private readonly Lock _writing = new();
    private readonly StreamWriter _file;
    private readonly TimeProvider _clock;
    private readonly long _begin;
    private readonly double _stages;
    private string _stage = "";
    private int _done = -1;

    public ProgressFile(string path, Plan plan, TimeProvider clock)
    {
        _file = new StreamWriter(path, append: true) { AutoFlush = true };
        _clock = clock;
        _begin = clock.GetTimestamp();
        _stages = StagesBesideSteps + plan.Steps.Count + plan.Structures.Sum(s => s.Steps.Count);
    }

    public void Report(RunProgress value)
    {
        lock (_writing)
        {
            if (value.Step == _stage)
                return;
            _stage = value.Step;
            _done++;
            _file.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{_clock.GetElapsedTime(_begin).TotalMilliseconds:F0} {Math.Min(_done / _stages, 0.99):F3} {_stage}"));
        }
    }

    /// <summary>Ends the file with a line for the end.</summary>
    public void Dispose()
    {
        lock (_writing)
            _file.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{_clock.GetElapsedTime(_begin).TotalMilliseconds:F0} 1.000 end"));
        _file.Dispose();
    }
}
