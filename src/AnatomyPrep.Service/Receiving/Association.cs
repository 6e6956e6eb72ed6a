using System.Net.Sockets;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Service.Hosting;

namespace AnatomyPrep.Service.Receiving;

/// <summary>One association, served by DCMTK's storescp in a child of its own.</summary>
/// <remarks>
/// storescp has no option for the address it listens on, no list of callers and no limit of processes, so it never listens: it is
/// given the accepted socket as inetd(8) would (-id), writes into one folder, and ends with the association. Its options to run
/// commands are never used: they pass a peer's words to a shell. File names are made by storescp itself (+uf), not from UIDs.
/// </remarks>
internal static class Association
{
    private static readonly KernelLimits s_limits = new(MemoryBytes: 1L << 30, ProcessorTime: TimeSpan.FromHours(1), FileBytes: 4L << 30);

    /// <summary>Takes one association; gives the exit code of storescp.</summary>
    /// <param name="folder">Empty; what comes in lies there afterwards, also when the child was killed.</param>
    public static int Serve(ReceiverSettings settings, Socket peer, string folder, CancellationToken stopping)
    {
        using var child = new SupervisedProcess("storescp", Arguments(settings, folder), s_limits, connection: peer.SafeHandle);
        // Only the child holds the connection from here on, so that it closes with the child.
        peer.Close();
        using var stop = stopping.Register(child.Kill);
        return child.WaitForExit();
    }

    internal static IReadOnlyList<string> Arguments(ReceiverSettings settings, string folder) =>
    [
        "--inetd", "--quiet", "--accept-all", "--disable-host-lookup",
        "--acse-timeout", "30", "--dimse-timeout", "60", "--socket-timeout", "60", "--max-pdu", "131072",
        "--aetitle", settings.Title, "--output-directory", folder, "--unique-filenames", "--filename-extension", ".dcm",
        .. Tls(settings),
    ];

    private static string[] Tls(ReceiverSettings settings) => settings.HasTls
        ? ["--enable-tls", settings.TlsKey!, settings.TlsCertificate!, "--add-cert-file", settings.TlsAuthority!, "--require-peer-cert", "--null-passwd"]
        : [];
}
