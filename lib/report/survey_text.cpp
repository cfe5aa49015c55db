#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"
#include "report/boot_text.h"
#include "report/text.h"
#include "report/time_text.h"
#include "report/writing.h"

namespace platter {
namespace {

constexpr std::uint64_t kBlock = 512;
constexpr std::size_t kIndent = 2;

std::string joined(const std::vector<std::string>& parts, std::string_view separator) {
  std::string result;
  for (const std::string& part : parts) {
    if (part.empty()) continue;
    if (!result.empty()) result += separator;
    result += part;
  }
  return result;
}

std::string quoted(const std::string& text) {
  return text.empty() ? std::string() : fmt::format("\"{}\"", printable(text));
}

std::string time_of(const Facts& facts, std::string_view name) {
  const FactValue* value = facts.find(name);
  const auto* time = value == nullptr ? nullptr : std::get_if<Timestamp>(value);
  return time == nullptr ? std::string() : iso8601(time->seconds);
}

// What a volume is, in one line.
std::string volume_words(const Layer& volume) {
  const Facts& facts = volume.facts;
  std::vector<std::string> parts{volume.title};
  parts.push_back(quoted(facts.words("volume_name")));
  const std::string order = facts.words("byte_order");
  if (order == "big" || order == "little") parts.push_back(order + "-endian");
  if (volume.bytes != 0) parts.push_back(plan::readable_size(volume.bytes));
  if (facts.find("used_bytes") != nullptr && facts.number("used_bytes") != volume.bytes) {
    parts.push_back(plan::readable_size(facts.number("used_bytes")) + " used");
  }
  const std::string mount = facts.words("last_mount");
  if (!mount.empty()) parts.push_back("last mounted on " + printable(mount));
  const std::string clean = facts.words("clean");
  if (!clean.empty()) parts.push_back(clean == "unknown" ? "clean state unknown" : clean);
  return joined(parts, ", ");
}

std::string label_words(const Layer& label) {
  const Facts& facts = label.facts;
  std::vector<std::string> parts{label.title};
  parts.push_back(quoted(facts.words("name")));
  const std::string checksum = facts.words("checksum");
  if (checksum == "good") parts.emplace_back("checksum good");
  if (checksum == "bad") parts.emplace_back("checksum BAD");
  const std::uint64_t cylinders = facts.number("cylinders");
  const std::uint64_t heads = facts.number("heads");
  const std::uint64_t sectors = facts.number("sectors_per_track");
  if (cylinders != 0 && heads != 0 && sectors != 0) {
    parts.push_back(fmt::format("{} cylinder{} x {} head{} x {} sectors of {} bytes", cylinders,
                                cylinders == 1 ? "" : "s", heads, heads == 1 ? "" : "s", sectors,
                                facts.number("sector_bytes", kBlock)));
  }
  return joined(parts, ", ");
}

// What lies in a slice, for the last column of the table.
std::string contents_words(const Layer& slice) {
  std::vector<std::string> parts;
  for (const Layer& layer : slice.layers) {
    parts.push_back(layer.kind == LayerKind::label  ? label_words(layer)
                    : layer.kind == LayerKind::boot ? layer.title
                                                    : volume_words(layer));
  }
  const std::string same = slice.facts.words("same_as");
  if (!same.empty()) parts.push_back("same as " + printable(same));
  if (parts.empty()) parts.emplace_back("-");
  return joined(parts, "; ");
}

// One image of a boot catalog.
std::string boot_image_words(const Layer& image) {
  std::vector<std::string> parts{"boot image " + printable(image.id)};
  for (const std::string_view fact : {"platform", "media"}) {
    parts.push_back(printable(image.facts.words(fact)));
  }
  parts.push_back(fmt::format("{} from block {}", plan::readable_size(image.bytes),
                              grouped(image.start / kBlock)));
  return joined(parts, ", ");
}

std::string place(std::uint64_t bytes) {
  return bytes % kBlock == 0 ? grouped(bytes / kBlock) : grouped(bytes) + " B";
}

class Page {
 public:
  Page(const Survey& survey, const TextStyle& style) : survey_(survey), style_(style) {}

  std::string all() {
    header();
    if (survey_.layers.empty()) {
      line("No label, filesystem or optical framing that platter knows was found in it.");
    }
    for (const Layer& layer : survey_.layers)
      describe(layer);
    boot();
    verdict();
    return std::move(text_);
  }

 private:
  void line(std::string_view words, std::size_t indent = kIndent) {
    text_ += std::string(indent, ' ') + wrapped(words, indent + 2, indent, style_.columns) + '\n';
  }

  void header() {
    const ImageFacts& image = survey_.image;
    text_ += emphasised(printable(image.path), kHeading, style_) + '\n';
    std::string size =
        fmt::format("{} bytes, {}", grouped(image.bytes), plan::readable_size(image.bytes));
    if (image.bytes % kBlock == 0) {
      size += fmt::format(", {} blocks", grouped(image.bytes / kBlock));
    }
    line(size);
    if (!image.container.empty()) {
      line(fmt::format("unpacked from {}{}, {} bytes as stored", joined(image.container, " in "),
                       image.member.empty() ? "" : " (" + printable(image.member) + ")",
                       grouped(image.stored_bytes)));
    }
    text_ += '\n';
  }

  void describe(const Layer& layer) {
    switch (layer.kind) {
      case LayerKind::framing:
        line(layer.title);
        for (const Layer& behind : layer.layers)
          describe(behind);
        return;
      case LayerKind::label:
        describe_label(layer);
        return;
      case LayerKind::boot:
        describe_boot(layer, kIndent);
        text_ += '\n';
        return;
      default:
        describe_volume(layer);
        return;
    }
  }

  void describe_volume(const Layer& volume) {
    line(volume_words(volume));
    line("layer: " + printable(volume.id), kIndent + 2);
    static constexpr std::array<std::pair<std::string_view, std::string_view>, 5> kTexts = {{
        {"system_id", "system"},
        {"volume_set_id", "volume set"},
        {"publisher_id", "publisher"},
        {"preparer_id", "prepared by"},
        {"application_id", "application"},
    }};
    for (const auto& [fact, caption] : kTexts) {
      const std::string words = volume.facts.words(fact);
      if (!words.empty()) line(fmt::format("{}: {}", caption, printable(words)), kIndent + 2);
    }
    const std::string created = time_of(volume.facts, "created");
    const std::string modified = time_of(volume.facts, "modified");
    std::string times;
    if (!created.empty()) times += "created " + created;
    if (!modified.empty()) times += (times.empty() ? "" : ", ") + ("modified " + modified);
    if (!times.empty()) line(times, kIndent + 2);
    for (const Layer& below : volume.layers)
      describe_boot(below, kIndent + 2);
    text_ += '\n';
  }

  // Boot code, and what the images of a boot catalog hold.
  void describe_boot(const Layer& boot, std::size_t indent) {
    if (boot.kind != LayerKind::boot) {
      line(boot.kind == LayerKind::label ? label_words(boot) : volume_words(boot), indent);
    } else {
      line(boot.title.empty() ? boot_image_words(boot) : boot.title, indent);
    }
    for (const Layer& below : boot.layers)
      describe_boot(below, indent + 2);
  }

  void describe_label(const Layer& label) {
    line(label_words(label));
    Table table({{"layer", Table::Align::left},
                 {"type", Table::Align::left},
                 {"begins", Table::Align::right},
                 {"blocks", Table::Align::right},
                 {"size", Table::Align::right},
                 {"holds", Table::Align::left}});
    add_rows(table, label);
    if (!table.empty()) text_ += table.text(kIndent + 2, style_);
    for (const Layer& below : label.layers) {
      if (below.kind == LayerKind::boot) describe_boot(below, kIndent + 2);
    }
    text_ += '\n';
  }

  // Slices of nested labels follow the slice that holds them.
  void add_rows(Table& table, const Layer& label) {
    for (const Layer& slice : label.layers) {
      if (slice.kind != LayerKind::slice) continue;
      table.row({printable(slice.id), printable(slice.facts.words("type_name")), place(slice.start),
                 place(slice.bytes), plan::readable_size(slice.bytes), contents_words(slice)});
      for (const Layer& nested : slice.layers) {
        if (nested.kind == LayerKind::label) add_rows(table, nested);
      }
    }
  }

  void boot() {
    const std::vector<std::string> lines = boot_summary(survey_.boot);
    for (const std::string& words : lines)
      line(words + '.');
    if (!lines.empty()) line("Each condition: platter boot IMAGE", kIndent + 2);
    if (!lines.empty()) text_ += '\n';
  }

  void verdict() {
    const bool faulty = any_fault(survey_.findings);
    if (!survey_.layers.empty() && !faulty) {
      line("Whole: all that was found lies inside the image, and its checks hold.");
    }
    if (faulty) {
      line(emphasised("Not sound:", kFault, style_) + " see the faults below.");
    }
    if (survey_.findings.empty()) return;
    text_ += '\n' + findings_text(survey_.findings, style_);
  }

  const Survey& survey_;
  const TextStyle& style_;
  std::string text_;
};

}  // namespace

std::string survey_text(const Survey& survey, const TextStyle& style) {
  return Page(survey, style).all();
}

std::string findings_text(const std::vector<Finding>& findings, const TextStyle& style) {
  std::string text;
  for (const Finding& finding : findings) {
    const FindingKind& kind = finding_kind(finding.code);
    const std::string_view attribute = finding.severity == Severity::fault     ? kFault
                                       : finding.severity == Severity::caution ? kCaution
                                                                               : kQuiet;
    const std::string severity = fmt::format("{:<7}", severity_name(finding.severity));
    std::string where = finding.layer.empty() ? std::string() : printable(finding.layer) + ": ";
    const std::string place_words = finding.start % kBlock == 0
                                        ? fmt::format("block {}", grouped(finding.start / kBlock))
                                        : fmt::format("byte {}", grouped(finding.start));
    constexpr std::size_t kHang = kIndent + 9;
    text += std::string(kIndent, ' ') + emphasised(severity, attribute, style) + "  " +
            wrapped(fmt::format("{}{} (at {})", where, printable(finding.message), place_words),
                    kHang, kHang, style.columns) +
            '\n';
    if (finding.severity != Severity::note) {
      text += std::string(kHang, ' ') +
              wrapped(fmt::format("What to do: {}.", kind.advice), kHang, kHang, style.columns) +
              '\n';
    }
  }
  return text;
}

std::string fit_text(const Survey& survey, const Fit& fit, const TextStyle& style) {
  std::string text = emphasised(printable(survey.image.path), kHeading, style) + '\n';
  const auto add = [&](std::string_view words) {
    text += std::string(kIndent, ' ') + wrapped(words, kIndent + 2, kIndent, style.columns) + '\n';
  };
  add(fmt::format("image: {} blocks, {}", grouped(divide_up(fit.image_bytes, kBlock)),
                  plan::readable_size(fit.image_bytes)));
  if (fit.claimed_bytes > fit.image_bytes) {
    add(fmt::format("its label and filesystems claim: {} blocks, {}",
                    grouped(divide_up(fit.claimed_bytes, kBlock)),
                    plan::readable_size(fit.claimed_bytes)));
  }
  add(fmt::format("region: {} blocks, {}, from block {}", grouped(fit.region_bytes / kBlock),
                  plan::readable_size(fit.region_bytes), grouped(fit.region_start / kBlock)));
  text += '\n';
  if (fit.fits) {
    const auto spare = static_cast<std::uint64_t>(fit.spare_bytes);
    add(spare == 0 ? std::string("It fits exactly.")
                   : fmt::format("It fits; {} blocks ({}) are spare.", grouped(spare / kBlock),
                                 plan::readable_size(spare)));
    return fit.findings.empty() ? text : text + '\n' + findings_text(fit.findings, style);
  }
  add(emphasised("It does not fit.", kFault, style));
  return text + '\n' + findings_text(fit.findings, style);
}

}  // namespace platter
