// platter boot: would that machine's firmware start it?
#include <stdexcept>

#include "command.h"
#include "report/boot_text.h"

namespace platter::tool {

int run_boot(std::span<const std::string> arguments, Streams& streams) {
  Options options(
      "boot",
      "Says for every machine what its firmware demands of an image, whether it is there "
      "and where. With --machine, exits 1 when one of them would not start it.",
      "platter boot install.iso\n"
      "  platter boot --machine sparc --as disk system.img");
  std::string image;
  BootRequest request;
  std::string as;
  CLI::App& app = options.app();
  options.add_image(image);
  app.add_option("--machine", request.machines, "only this machine (can be repeated)")
      ->allow_extra_args(false)
      ->option_text("M");
  app.add_option("--as", as, "how the machine sees it (default: both)")
      ->option_text("disk|optical")
      ->check(CLI::IsMember({"disk", "optical"}));
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (!as.empty()) request.as = as == "disk" ? BootAs::disk : BootAs::optical;

  try {
    // An unknown machine is said before the image is unpacked.
    (void)boot_report(Survey{}, request);
    const BootReport report =
        boot_report(survey(open_image(image, options.open_options())), request);
    streams.out << (options.json ? boot_json(report)
                                 : boot_text(report, !request.machines.empty(), streams.style));
    return report.everything_asked_is_ready ? kDone : kFaultFound;
  } catch (const std::invalid_argument& error) {
    complain(streams, error.what());
    return kNotUnderstood;
  }
}

}  // namespace platter::tool
