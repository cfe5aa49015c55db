#include "report/plain_report.h"

#include <fmt/format.h>

#include "core/charset.h"
#include "plan/size.h"
#include "report/json_values.h"
#include "report/writing.h"

namespace platter {

std::string plain_text(const PlainReport& report, const TextStyle& style) {
  constexpr std::size_t kIndent = 2;
  std::string text = emphasised(printable(report.image.path), kHeading, style) + '\n';
  const auto line = [&](std::string_view words) {
    text += std::string(kIndent, ' ') + wrapped(words, kIndent + 2, kIndent, style.columns) + '\n';
  };
  for (const std::string& container : report.image.container)
    line("unpacked: " + container);
  for (const Layer* layer : report.undone)
    line("undone: " + layer->title);
  if (report.image.container.empty() && report.undone.empty()) {
    line("nothing to undo: a copy of the image");
  }
  line(fmt::format("Plain image: {}, {} bytes, {}", printable(report.plain.path),
                   grouped(report.plain.bytes), plan::readable_size(report.plain.bytes)));
  if (!report.findings.empty()) text += '\n' + findings_text(report.findings, style);
  return text;
}

std::string plain_json(const PlainReport& report) {
  Json undone = Json::array();
  for (const Layer* layer : report.undone)
    undone.push_back(layer->format);
  return document_text(
      {{"schema", "platter.plain/1"},
       {"image", image_value(report.image)},
       {"undone", std::move(undone)},
       {"plain", {{"path", json_text(report.plain.path)}, {"bytes", report.plain.bytes}}},
       {"findings", findings_value(report.findings)}});
}

}  // namespace platter
