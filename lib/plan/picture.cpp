#include "plan/picture.h"

#include <algorithm>
#include <bit>
#include <vector>

#include <fmt/format.h>

#include "core/charset.h"

namespace platter::plan {
namespace {

constexpr double kWidth = 960;
constexpr double kMargin = 24;
constexpr double kBar = kWidth - 2 * kMargin;
constexpr double kBarHeight = 56;
constexpr double kReadable = 18;  // a stretch narrower than this has no room for its number
constexpr double kRow = 22;

// One stretch of the card: a region, or a gap between regions.
struct Stretch {
  Extent place;
  const Region* region = nullptr;
  std::size_t number = 0;  // as in the list, from 1; gaps have none
};

std::string xml(std::string_view text) {
  std::string clean = printable(text);
  // Two code points that UTF-8 can say and XML 1.0 (clause 2.2) cannot.
  for (const std::string_view no_xml : {"\xEF\xBF\xBE", "\xEF\xBF\xBF"}) {
    for (std::size_t at = 0; (at = clean.find(no_xml, at)) != std::string::npos;) {
      clean.erase(at, 2);
      clean[at] = '?';
    }
  }
  std::string escaped;
  for (const char c : clean) {
    switch (c) {
      case '&':
        escaped += "&amp;";
        break;
      case '<':
        escaped += "&lt;";
        break;
      case '>':
        escaped += "&gt;";
        break;
      case '"':
        escaped += "&quot;";
        break;
      case '\'':
        escaped += "&#39;";
        break;
      default:
        escaped += c;
    }
  }
  return escaped;
}

std::vector<Stretch> stretches_of(const Plan& plan) {
  std::vector<Stretch> stretches;
  for (const Region& region : plan.regions) {
    stretches.push_back({{region.start, region.bytes}, &region, 0});
  }
  for (const Gap& gap : plan.gaps)
    stretches.push_back({gap, nullptr, 0});
  std::ranges::stable_sort(stretches, {}, [](const Stretch& one) { return one.place.start; });
  std::size_t number = 0;
  for (Stretch& stretch : stretches) {
    if (stretch.region != nullptr) stretch.number = ++number;
  }
  return stretches;
}

// What the drawing spans: the card, and regions that reach past its end.
std::uint64_t drawn_bytes(const Plan& plan) {
  std::uint64_t end = plan.card_bytes;
  for (const Region& region : plan.regions)
    end = std::max(end, region.end());
  return std::max<std::uint64_t>(end, 1);
}

struct Box {
  double left;
  double width;
};

std::vector<Box> to_scale(const std::vector<Stretch>& stretches, std::uint64_t total) {
  std::vector<Box> boxes;
  boxes.reserve(stretches.size());
  const double scale = kBar / static_cast<double>(total);
  for (const Stretch& stretch : stretches) {
    boxes.push_back({kMargin + static_cast<double>(stretch.place.start) * scale,
                     static_cast<double>(stretch.place.bytes) * scale});
  }
  return boxes;
}

// How often `least` has to be doubled to become `bytes`, straight lines between the powers of two.
// The C library's logarithm would have its mathematics loaded at the start of every command.
double doublings(std::uint64_t bytes, std::uint64_t least) {
  const int whole = static_cast<int>(std::bit_width(bytes / least)) - 1;
  const double doubled =
      static_cast<double>(least) * static_cast<double>(std::uint64_t{1} << whole);
  return whole + static_cast<double>(bytes) / doubled - 1;
}

// Side by side in the order of the card; the shortest stretch gets one share, each doubling adds
// half a share.
std::vector<Box> by_logarithm(const std::vector<Stretch>& stretches) {
  std::uint64_t least = ~std::uint64_t{0};
  for (const Stretch& one : stretches)
    least = std::min(least, std::max<std::uint64_t>(one.place.bytes, 1));
  std::vector<double> shares;
  double sum = 0;
  for (const Stretch& one : stretches) {
    shares.push_back(1 + doublings(std::max<std::uint64_t>(one.place.bytes, 1), least) / 2);
    sum += shares.back();
  }
  std::vector<Box> boxes;
  double left = kMargin;
  for (const double share : shares) {
    boxes.push_back({left, kBar * share / sum});
    left += boxes.back().width;
  }
  return boxes;
}

std::string_view fill_of(const Stretch& stretch) {
  if (stretch.region == nullptr) return "url(#gap)";
  return stretch.region->device == Device::optical ? "url(#optical)" : "#fff";
}

std::string bar(const std::vector<Stretch>& stretches, const std::vector<Box>& boxes, double top) {
  std::string svg;
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    const Stretch& one = stretches[i];
    const Box& box = boxes[i];
    svg += fmt::format(
        "<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" "
        "fill=\"{}\" stroke=\"#000\" stroke-width=\"{}\"/>\n",
        box.left, top, std::max(box.width, 0.5), kBarHeight, fill_of(one),
        one.region == nullptr ? "0.5" : "1.5");
    if (one.region == nullptr || box.width < kReadable) continue;
    const double middle = box.left + box.width / 2;
    svg += fmt::format(
        "<circle cx=\"{0:.2f}\" cy=\"{1:.2f}\" r=\"9\" fill=\"#fff\" "
        "stroke=\"#000\"/>\n<text x=\"{0:.2f}\" y=\"{2:.2f}\" "
        "text-anchor=\"middle\">{3}</text>\n",
        middle, top + kBarHeight / 2, top + kBarHeight / 2 + 4.5, one.number);
  }
  return svg;
}

// Thin lines from each boundary of the upper bar to the same boundary of the lower one.
std::string links(const std::vector<Box>& upper, const std::vector<Box>& lower, double top,
                  double bottom) {
  std::string svg = "<g stroke=\"#000\" stroke-width=\"0.5\" stroke-dasharray=\"3 3\">\n";
  const auto link = [&](double from, double to) {
    svg += fmt::format("<line x1=\"{:.2f}\" y1=\"{:.2f}\" x2=\"{:.2f}\" y2=\"{:.2f}\"/>\n", from,
                       top, to, bottom);
  };
  for (std::size_t i = 0; i < upper.size(); ++i) {
    link(upper[i].left, lower[i].left);
    if (i + 1 == upper.size()) link(upper[i].left + upper[i].width, lower[i].left + lower[i].width);
  }
  return svg + "</g>\n";
}

std::string caption(std::string_view words, double top) {
  return fmt::format("<text x=\"{:.2f}\" y=\"{:.2f}\">{}</text>\n", kMargin, top, xml(words));
}

std::string list_row(const Stretch& one, double top) {
  const std::uint64_t first = one.place.start / kBlockBytes;
  std::string what = "gap";
  if (one.region != nullptr) {
    what =
        fmt::format("{}, {}, bus id {}{}{}", one.region->name, device_word(one.region->device),
                    one.region->bus_id, one.region->image.empty() ? "" : ", ", one.region->image);
  }
  const std::string number = one.region == nullptr ? "" : fmt::format("{}", one.number);
  std::string svg = fmt::format(
      "<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"26\" height=\"14\" fill=\"{}\" "
      "stroke=\"#000\"/>\n",
      kMargin, top - 12, fill_of(one));
  const auto cell = [&svg, top](double x, std::string_view anchor, std::string_view words) {
    svg += fmt::format("<text x=\"{:.2f}\" y=\"{:.2f}\" text-anchor=\"{}\">{}</text>\n", x, top,
                       anchor, xml(words));
  };
  cell(kMargin + 46, "end", number);
  cell(kMargin + 150, "end", fmt::format("{}", first));
  cell(kMargin + 250, "end", fmt::format("{}", one.place.bytes / kBlockBytes));
  cell(kMargin + 330, "end", readable_size(one.place.bytes));
  cell(kMargin + 346, "start", what);
  return svg;
}

std::string list(const std::vector<Stretch>& stretches, double top) {
  std::string svg = "<g font-weight=\"bold\">\n";
  const auto head = [&svg, top](double x, std::string_view anchor, std::string_view words) {
    svg += fmt::format("<text x=\"{:.2f}\" y=\"{:.2f}\" text-anchor=\"{}\">{}</text>\n", x, top,
                       anchor, words);
  };
  head(kMargin + 150, "end", "begins");
  head(kMargin + 250, "end", "blocks");
  head(kMargin + 330, "end", "size");
  head(kMargin + 346, "start", "what");
  svg += "</g>\n";
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    svg += list_row(stretches[i], top + kRow * static_cast<double>(i + 1));
  }
  return svg;
}

constexpr std::string_view kPatterns =
    "<defs>\n"
    "<pattern id=\"gap\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">"
    "<rect width=\"7\" height=\"7\" fill=\"#fff\"/>"
    "<path d=\"M0 7 L7 0\" stroke=\"#000\" stroke-width=\"0.6\"/></pattern>\n"
    "<pattern id=\"optical\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">"
    "<rect width=\"6\" height=\"6\" fill=\"#fff\"/>"
    "<circle cx=\"3\" cy=\"3\" r=\"1.1\" fill=\"#000\"/></pattern>\n"
    "</defs>\n";

}  // namespace

std::string picture_svg(const Plan& plan, std::string_view title) {
  const std::vector<Stretch> stretches = stretches_of(plan);
  const std::uint64_t total = drawn_bytes(plan);
  const std::vector<Box> scaled = to_scale(stretches, total);
  const bool second_bar =
      std::ranges::any_of(scaled, [](const Box& box) { return box.width < kReadable; });
  std::string body = fmt::format(
      "<text x=\"{:.2f}\" y=\"34\" font-size=\"18\" "
      "font-weight=\"bold\">{}</text>\n",
      kMargin, xml(title));
  body += caption(
      fmt::format("{} ({}), to scale", in_blocks(plan.card_bytes), readable_size(plan.card_bytes)),
      62);
  double top = 72;
  body += bar(stretches, scaled, top);
  if (total > plan.card_bytes) {  // something reaches past the end: show where the card ends
    const double end =
        kMargin + kBar * static_cast<double>(plan.card_bytes) / static_cast<double>(total);
    body += fmt::format(
        "<line x1=\"{0:.2f}\" y1=\"{1:.2f}\" x2=\"{0:.2f}\" y2=\"{2:.2f}\" "
        "stroke=\"#000\" stroke-width=\"4\"/>\n",
        end, top - 6, top + kBarHeight + 6);
  }
  top += kBarHeight;
  if (second_bar) {
    const std::vector<Box> spread = by_logarithm(stretches);
    body += links(scaled, spread, top, top + 44);
    top += 44;
    body += bar(stretches, spread, top);
    top += kBarHeight + 18;
    body += caption("not to scale: widths grow with the logarithm of the size", top);
  }
  top += 36;
  body += list(stretches, top);
  const double height = top + kRow * static_cast<double>(stretches.size()) + kMargin;
  return fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0:.0f}\" height=\"{1:.0f}\" "
      "viewBox=\"0 0 {0:.0f} {1:.0f}\" font-family=\"sans-serif\" "
      "font-size=\"13\">\n<title>{2}</title>\n{3}"
      "<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{4}</svg>\n",
      kWidth, height, xml(title), kPatterns, body);
}

}  // namespace platter::plan
