using System.Data.Common;
using System.Net;
using System.Net.Sockets;
using AnatomyPrep.Service.Events;
using AnatomyPrep.Service.Hosting;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging;

namespace AnatomyPrep.Service.Receiving;

/// <summary>Listens for scanners and archives and gives each connection a storescp of its own.</summary>
/// <remarks>
/// A child that dies costs its own association only: what it had written is looked at like any other, and the sender sends again.
/// Children that keep failing (storescp not installed, a wrong certificate) are started at growing intervals, up to 10 s.
/// </remarks>
internal sealed class Receiver(ServiceSettings settings, DataFolder folder, DiskGuard disk, ArrivalBoard board, IEventSink events, ILogger<Receiver> log) : BackgroundService
{
    private const int SignalBase = 128;
    private static readonly TimeSpan s_firstPause = TimeSpan.FromMilliseconds(100);
    private static readonly TimeSpan s_longestPause = TimeSpan.FromSeconds(10);

    private readonly ReceiverSettings _settings = settings.Receiver;
    private readonly IPNetwork[] _peers = [.. settings.Receiver.Peers.Select(p => IPNetwork.Parse(p))];
    private readonly SemaphoreSlim _slots = new(settings.Receiver.MostAssociations);
    private readonly TaskCompletionSource<int> _bound = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private int _failures;

    /// <summary>The port, once it listens.</summary>
    public Task<int> Port => _bound.Task;

    /// <summary>True while it takes connections.</summary>
    public bool Listens { get; private set; }

    public override void Dispose()
    {
        _slots.Dispose();
        base.Dispose();
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        if (!_settings.Enabled)
            return;
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await ListenAsync(stoppingToken).ConfigureAwait(false);
            }
            catch (SocketException e)
            {
                Failed($"cannot listen on port {_settings.Port}: {e.SocketErrorCode}");
            }
            catch (DbException e)
            {
                // An event could not be written; what was received lies in its folder.
                log.LogWarning("Receiver: the database does not answer: {Kind}", e.GetType().Name);
            }

            await PauseAsync(stoppingToken).ConfigureAwait(false);
        }
    }

    private async Task ListenAsync(CancellationToken stopping)
    {
        using var listener = new TcpListener(IPAddress.Parse(_settings.Address), _settings.Port);
        listener.Start();
        var port = ((IPEndPoint)listener.LocalEndpoint).Port;
        log.LogInformation("Receiver listens on {Address} port {Port}", _settings.Address, port);
        _bound.TrySetResult(port);
        Listens = true;
        var open = new List<Task>();
        try
        {
            while (true)
            {
                var peer = await listener.AcceptSocketAsync(stopping).ConfigureAwait(false);
                open.RemoveAll(t => t.IsCompleted);
                if (IsWelcome(peer))
                    open.Add(Task.Factory.StartNew(() => Serve(peer, stopping), CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default));
                else
                    peer.Dispose();
                if (Volatile.Read(ref _failures) > 0)
                    await PauseAsync(stopping).ConfigureAwait(false);
            }
        }
        catch (OperationCanceledException)
        {
            // Stopping kills the children; what they wrote is taken at the next start.
        }
        finally
        {
            Listens = false;
            await Task.WhenAll(open).ConfigureAwait(false);
        }
    }

    private bool IsWelcome(Socket peer)
    {
        var address = ((IPEndPoint)peer.RemoteEndPoint!).Address;
        if (_peers.Length > 0 && !_peers.Any(n => n.Contains(address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address)))
        {
            events.Append(new("receiver.refused", null, Detail: "a connection from outside the networks in receiver.peers"));
            return false;
        }

        if (disk.IsFull)
        {
            events.Append(new("receiver.refused", null, Detail: "less than storage.leastFreeMegabytes is free on the disk"));
            return false;
        }

        if (_slots.Wait(0))
            return true;
        events.Append(new("receiver.refused", null, Detail: "more associations at once than receiver.mostAssociations"));
        return false;
    }

    private void Serve(Socket peer, CancellationToken stopping)
    {
        var name = $"a-{Guid.NewGuid():N}";
        var receiving = Path.Combine(folder.Receiving, name);
        board.Begin();
        try
        {
            DataFolder.CreateOwned(receiving);
            var code = Association.Serve(_settings, peer, receiving, stopping);
            if (code == 0)
                Volatile.Write(ref _failures, 0);
            else if (!stopping.IsCancellationRequested)
                Failed(code > SignalBase ? $"storescp ended by signal {code - SignalBase}" : $"storescp ended with code {code}; is dcmtk installed, and can it read the TLS files?");
            if (Directory.EnumerateFiles(receiving).Any())
                Directory.Move(receiving, Path.Combine(folder.Arrived, name));
            else
                Directory.Delete(receiving);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or InvalidOperationException)
        {
            Failed($"an association could not be served: {e.GetType().Name}");
        }
        finally
        {
            peer.Dispose();
            board.End();
            _slots.Release();
        }
    }

    private void Failed(string how)
    {
        Interlocked.Increment(ref _failures);
        log.LogWarning("Receiver: {How}", how);
        events.Append(new("receiver.failed", null, Detail: how));
    }

    private async Task PauseAsync(CancellationToken stopping)
    {
        var pause = s_firstPause * Math.Pow(2, Math.Min(Volatile.Read(ref _failures), 10));
        await Task.Delay(pause < s_longestPause ? pause : s_longestPause, stopping).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
    }
}
