// platter plan: is this card layout sound?
#include <fmt/format.h>

#include "command.h"
#include "core/output_file.h"
#include "job/propose_job.h"
#include "plan/picture.h"
#include "plan_options.h"
#include "report/plan_report.h"

namespace platter::tool {
namespace {

int propose(const std::vector<std::string>& images, const std::string& card_size,
            const std::string& card_path, const Options& options, Streams& streams) {
  if (card_size.empty()) {
    complain(streams, "--propose needs --card SIZE");
    return kNotUnderstood;
  }
  streams.out << propose_card(images, bytes_from_words(card_size), card_path,
                              options.open_options());
  return kDone;
}

}  // namespace

int run_plan(std::span<const std::string> arguments, Streams& streams) {
  Options options("plan", "Fills in and checks a plan of what goes where on a card.",
                  "platter plan card.toml\n  platter plan card.toml --commands\n"
                  "  platter plan --propose system.img install.iso --card 7580MiB > card.toml");
  std::string path;
  std::string picture;
  std::vector<std::string> proposed;
  std::string card_size;
  std::string card_path = "card.img";
  bool commands = false;
  CLI::App& app = options.app();
  app.add_option("PLAN", path, "plan file (docs/plan-file.md)")->option_text(" ");
  app.add_flag("--commands", commands, "print the copy commands for a POSIX shell");
  app.add_option("--picture", picture, "draw the card into this SVG file")->option_text("FILE");
  app.add_option("--propose", proposed, "print a first plan for these images")
      ->option_text("IMAGE...");
  app.add_option("--card", card_size, "with --propose: size of the card")->option_text("SIZE");
  app.add_option("--card-path", card_path, "with --propose: its path (default card.img)")
      ->option_text("PATH");
  options.add_json();
  options.add_spool_limit();
  if (!options.parse(arguments, streams)) return options.status;
  if (!proposed.empty()) return propose(proposed, card_size, card_path, options, streams);
  if (path.empty()) {
    complain(streams, "PLAN is required (see platter plan --help)");
    return kNotUnderstood;
  }

  const CardJob job = load_card_job(path, options.open_options());
  if (complained(job, streams)) return kNotUnderstood;
  if (!picture.empty()) write_whole_file(picture, plan::picture_svg(job.plan, path));
  if (options.json) {
    streams.out << plan_json(job);
  } else if (commands) {
    streams.out << copy_commands_text(job);
  } else {
    streams.out << plan_text(job, streams.style);
  }
  for (const std::string& missing : job.missing)
    complain(streams, missing);
  if (!job.missing.empty()) return kInputOutput;
  return any_fault(job.plan.findings) ? kFaultFound : kDone;
}

}  // namespace platter::tool
