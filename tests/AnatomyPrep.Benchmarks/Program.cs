using AnatomyPrep.Benchmarks.Ratios;
using BenchmarkDotNet.Running;

// ratios WORKDIR [SIZE] [REPEATS]   every stage beside the reference libraries, in one run; prints and writes the table
// stage NAME SIDECAR REPEATS        one stage of ours in this process, one JSON line (ratios starts it)
// anything else                     BenchmarkDotNet on the kernels
return args switch
{
    ["ratios", ..] => RatioTable.Run(args[1..]),
    ["stage", var name, var sidecar, var repeats] => OwnStage.Run(name, sidecar, int.Parse(repeats, System.Globalization.CultureInfo.InvariantCulture)),
    _ => RunKernels(args),
};

static int RunKernels(string[] args)
{
    BenchmarkSwitcher.FromAssembly(typeof(RatioTable).Assembly).Run(args);
    return 0;
}
